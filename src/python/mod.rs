//! The binding: checks, borrows, releases the interpreter, converts. Numbers come from the folders beside it.

mod answers;
mod array;
mod errors;
mod job;
mod json;
mod linear;
mod loads;
mod system;
mod values;

use pyo3::prelude::*;

/// The compiled part of `weaklink`; import the package, not this.
#[pymodule]
fn _core(module: &Bound<'_, PyModule>) -> PyResult<()> {
    errors::register(module)?;
    module.add_class::<values::Source>()?;
    module.add_class::<values::Lead>()?;
    module.add_class::<loads::Load>()?;
    module.add_class::<values::Film>()?;
    module.add_class::<values::Contact>()?;
    module.add_class::<values::Divider>()?;
    module.add_class::<values::Stage>()?;
    module.add_class::<system::Section>()?;
    module.add_class::<system::Chain>()?;
    module.add_class::<answers::Ceiling>()?;
    module.add_class::<linear::LossRange>()?;
    module.add_function(wrap_pyfunction!(answers::residue_from_loss_range, module)?)?;
    module.add_function(wrap_pyfunction!(answers::loss_range_for_residue, module)?)?;
    module.add_class::<job::Job>()?;
    module.add_function(wrap_pyfunction!(job::load_job, module)?)?;
    module.add_function(wrap_pyfunction!(job::_reread_job, module)?)?;
    module.add_function(wrap_pyfunction!(job::_assess_json, module)?)?;
    module.add_function(wrap_pyfunction!(job::typical, module)?)?;
    module.add_function(wrap_pyfunction!(job::_layouts, module)?)?;
    module.add_function(wrap_pyfunction!(job::_limits_json, module)?)?;
    module.add_function(wrap_pyfunction!(job::_dry_box_v, module)?)?;
    module.add_function(wrap_pyfunction!(job::_typical_values, module)?)?;
    module.add_function(wrap_pyfunction!(job::_engineering, module)?)?;
    module.add("__version__", env!("CARGO_PKG_VERSION"))?;
    module.add("TYPICAL_VERSION", crate::circuit::typical::VERSION)?;
    Ok(())
}
