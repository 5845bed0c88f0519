//! What a contact is: the laws of its metal and its film, one law a file, usable alone.

pub mod chatter;
pub mod constants;
pub mod constriction;
pub mod film;
pub mod fritting;
pub mod growth;
pub mod lanes;
pub mod loaded;
pub mod metal;
pub mod noise;
pub mod series;
pub mod tunnelling;

pub use film::Film;
