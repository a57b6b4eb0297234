//! Where variables stay in between cells.
//!
//! The evaluator writes such a store into every cell, so that each compiles a hash table once more. This one stands in
//! the shared library instead ([`super::library`]) and a cell refers to it ([`super::compile`]); but for the casts, what
//! depends on a variable's type is compiled once. Names, fields and messages are what the evaluator expects.

use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::sync::Arc;

/// Begins the line by which the evaluator learns that a variable is lost.
pub const VARIABLE_CHANGED_TYPE: &str = "EVCXR_VARIABLE_CHANGED_TYPE:";
/// The line by which the evaluator learns that a cell stopped at a `?`.
pub const USER_ERROR_OCCURRED: &str = "EVCXR_ERROR_OCCURRED";

/// Variables by name.
// A cell that a real `cargo` compiled brings its own store with this one field and reads ours.
#[derive(Debug, Default)]
pub struct VariableStore {
    variables: HashMap<String, Box<dyn Any + 'static>>,
}

impl VariableStore {
    /// An empty store.
    pub fn new() -> VariableStore {
        VariableStore::default()
    }

    /// Keeps a value under a name.
    pub fn put_variable<T: 'static>(&mut self, name: &str, value: T) {
        self.put(name, Box::new(value));
    }

    /// Whether the variable of this name, where there is one, is of this type; says so where it is not.
    pub fn check_variable<T: 'static>(&mut self, name: &str) -> bool {
        self.fits(name, TypeId::of::<T>())
    }

    /// Hands out a value.
    ///
    /// # Panics
    /// When there is none of this name and type.
    pub fn take_variable<T: 'static>(&mut self, name: &str) -> T {
        match self.take(name).downcast::<T>() {
            Ok(value) => *value,
            Err(_) => changed(name),
        }
    }

    /// What the cells share under a name, made when first asked for.
    ///
    /// # Panics
    /// When it is of another type.
    pub fn lazy_arc<T: 'static, F: FnOnce() -> T>(&mut self, name: &str, create: F) -> Arc<T> {
        if !self.variables.contains_key(name) {
            self.put(name, Box::new(Arc::new(create())));
        }
        let shared = self.variables.get(name).and_then(|v| v.downcast_ref::<Arc<T>>());
        shared.map_or_else(|| changed(name), Arc::clone)
    }

    /// Adds everything that another store holds.
    pub fn merge(&mut self, mut other: VariableStore) {
        self.variables.extend(other.variables.drain());
    }

    #[inline(never)]
    fn put(&mut self, name: &str, value: Box<dyn Any>) {
        self.variables.insert(name.to_owned(), value);
    }

    #[inline(never)]
    fn fits(&self, name: &str, kind: TypeId) -> bool {
        let fits = self.variables.get(name).is_none_or(|value| (**value).type_id() == kind);
        if !fits {
            eprintln!("The type of the variable {name} was redefined, so was lost.");
            println!("{VARIABLE_CHANGED_TYPE}{name}");
        }
        fits
    }

    #[inline(never)]
    fn take(&mut self, name: &str) -> Box<dyn Any> {
        self.variables.remove(name).unwrap_or_else(|| panic!("Variable '{name}' has gone missing"))
    }
}

#[inline(never)]
fn changed(name: &str) -> ! {
    panic!("Variable '{name}' changed its type")
}

/// A store on the heap, which the evaluator hands from cell to cell.
pub fn create_variable_store() -> *mut VariableStore {
    Box::into_raw(Box::new(VariableStore::new()))
}

#[cfg(test)]
mod tests {
    use super::super::relay::{LOST_VARIABLE, RETURNED_ERROR};
    use super::{USER_ERROR_OCCURRED, VARIABLE_CHANGED_TYPE, VariableStore, create_variable_store};

    #[test]
    fn says_what_the_relay_listens_for() {
        assert_eq!((VARIABLE_CHANGED_TYPE, USER_ERROR_OCCURRED), (LOST_VARIABLE, RETURNED_ERROR));
    }

    #[test]
    fn keeps_and_hands_out() {
        // SAFETY: just made, and nobody else's.
        let mut store = unsafe { Box::from_raw(create_variable_store()) };
        store.put_variable("list", vec![1.0, 2.0]);
        assert!(store.check_variable::<Vec<f64>>("list") && store.check_variable::<u8>("never heard of"));
        assert!(!store.check_variable::<f64>("list"));
        assert_eq!(store.take_variable::<Vec<f64>>("list"), [1.0, 2.0]);
        let gone =
            std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| store.take_variable::<f64>("list")));
        assert!(gone.is_err());
        let first = store.lazy_arc("shared", || 1);
        assert_eq!((*first, *store.lazy_arc("shared", || 2)), (1, 1));
        let mut other = VariableStore::new();
        other.put_variable("more", 3);
        store.merge(other);
        assert_eq!(store.take_variable::<i32>("more"), 3);
    }
}
