//! Wide vectors where the processor has them.

/// With vectors of four where the processor has them: products are not fused, so the bits are the same.
macro_rules! wide {
    ($method:ident ( $($arg:expr),* ) of $on:ident) => {{
        #[cfg(target_arch = "x86_64")]
        if std::arch::is_x86_feature_detected!("avx2") {
            // SAFETY: the processor has been asked for the feature that the function needs. There is no other way to
            // compile code for it without making the whole program depend on it.
            #[allow(unsafe_code)]
            return unsafe { $on($($arg),*) };
        }
        Self::$method($($arg),*)
    }};
}

pub(super) use wide;
