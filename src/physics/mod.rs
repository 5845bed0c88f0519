//! What a contact is: the laws of its metal and its film.

pub mod constants;
pub mod film;

pub use film::Film;
