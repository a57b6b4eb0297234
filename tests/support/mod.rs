//! What several test modules share.

pub mod hill_climb_net;
pub mod rows;
