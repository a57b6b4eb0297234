//! What a parameter is: how it may spread ([`distribution`]) and how it is fitted to readings ([`fit`]).
pub mod distribution;
pub mod fit;
pub mod special;
