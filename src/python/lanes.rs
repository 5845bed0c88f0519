//! The elementary functions of the array kernels, so that tests can hold them against mpmath.

use super::errors::input_error;
use crate::error::InputError;
use crate::physics::lanes::{Lanes, atan_and_beyond, sinh_and_cosh_beyond};
use numpy::{IntoPyArray, PyArray1, PyReadonlyArray1};
use pulp::{Simd, WithSimd};
use pyo3::prelude::*;

/// Most lanes of any processor.
const MOST: usize = 32;

#[derive(Clone, Copy)]
enum Function {
    Exp,
    Ln,
    Decibels,
    SinhBeyond,
    CoshBeyond,
    Atan,
    AtanBeyond,
}

struct Each<'a> {
    function: Function,
    values: &'a mut [f64],
}

impl WithSimd for Each<'_> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        for chunk in self.values.chunks_mut(Lanes::<S>::COUNT) {
            let mut lanes = [1.0; MOST];
            lanes[..chunk.len()].copy_from_slice(chunk);
            let x = Lanes::load(simd, &lanes);
            let found = match self.function {
                Function::Exp => x.exp(),
                Function::Ln => x.ln(),
                Function::Decibels => x.decibels_beside_one(),
                Function::SinhBeyond => sinh_and_cosh_beyond(x).0,
                Function::CoshBeyond => sinh_and_cosh_beyond(x).1,
                Function::Atan => atan_and_beyond(x).0,
                Function::AtanBeyond => atan_and_beyond(x).1,
            };
            found.store(&mut lanes);
            chunk.copy_from_slice(&lanes[..chunk.len()]);
        }
    }
}

/// Values of an elementary function of the array kernels; `plain` without the processor's vectors.
#[pyfunction]
pub(super) fn _lanes<'py>(
    py: Python<'py>,
    name: &str,
    values: PyReadonlyArray1<'py, f64>,
    plain: bool,
) -> PyResult<Bound<'py, PyArray1<f64>>> {
    let function = match name {
        "exp" => Function::Exp,
        "ln" => Function::Ln,
        "10 lg(1 + x)" => Function::Decibels,
        "sinh - x" => Function::SinhBeyond,
        "cosh - 1" => Function::CoshBeyond,
        "atan" => Function::Atan,
        "atan - x" => Function::AtanBeyond,
        other => {
            let allowed = "allowed: exp, ln, 10 lg(1 + x), sinh - x, cosh - 1, atan, atan - x";
            return Err(input_error(py, InputError::new("name", other, allowed)));
        }
    };
    let mut values = values.as_slice()?.to_vec();
    let each = Each { function, values: &mut values };
    if plain {
        each.with_simd(pulp::Scalar);
    } else {
        pulp::Arch::new().dispatch(each);
    }
    Ok(values.into_pyarray(py))
}
