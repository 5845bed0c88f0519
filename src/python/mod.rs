//! The binding: checks, borrows, releases the interpreter, converts. Numbers come from the folders beside it.

/// What the stub `_core.pyi` tells of a class or `Class.method`; build.rs cuts it out.
macro_rules! told {
    ($($name:expr),+) => {
        include_str!(concat!(env!("OUT_DIR"), "/told/", $($name,)+ ".txt"))
    };
}

mod answers;
mod array;
mod audible;
mod bounds;
mod errors;
mod fit;
mod hearing;
mod job;
mod json;
mod lanes;
mod level_cycle;
mod linear;
mod loads;
mod number;
mod out;
mod physics;
mod residue;
mod shop;
mod steady;
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
    module.add_class::<bounds::TwoToneCeiling>()?;
    module.add_class::<bounds::MusicCeiling>()?;
    module.add_class::<bounds::ReadingsCeiling>()?;
    module.add_class::<bounds::Attack>()?;
    module.add_function(wrap_pyfunction!(bounds::try_ceiling, module)?)?;
    module.add_class::<steady::Distortion>()?;
    module.add_class::<steady::TwoTone>()?;
    module.add_class::<residue::Residue>()?;
    module.add_class::<level_cycle::LevelCycle>()?;
    module.add_class::<level_cycle::Signature>()?;
    module.add_function(wrap_pyfunction!(level_cycle::level_cycle, module)?)?;
    module.add_function(wrap_pyfunction!(answers::residue_from_loss_range, module)?)?;
    module.add_function(wrap_pyfunction!(answers::loss_range_for_residue, module)?)?;
    module.add_class::<job::Job>()?;
    module.add_function(wrap_pyfunction!(job::load_job, module)?)?;
    module.add_function(wrap_pyfunction!(job::_reread_job, module)?)?;
    module.add_function(wrap_pyfunction!(job::_assess_json, module)?)?;
    module.add_function(wrap_pyfunction!(job::_evidence_json, module)?)?;
    module.add_function(wrap_pyfunction!(job::_draws, module)?)?;
    module.add_function(wrap_pyfunction!(job::_hypotheses, module)?)?;
    module.add_function(wrap_pyfunction!(job::_priors, module)?)?;
    module.add_function(wrap_pyfunction!(job::_crossover_residue, module)?)?;
    module.add_function(wrap_pyfunction!(job::typical, module)?)?;
    module.add_function(wrap_pyfunction!(job::_layouts, module)?)?;
    module.add_function(wrap_pyfunction!(job::_limits_json, module)?)?;
    module.add_function(wrap_pyfunction!(job::_dry_box_v, module)?)?;
    module.add_function(wrap_pyfunction!(job::_sheet_template, module)?)?;
    module.add_function(wrap_pyfunction!(job::_readings_template, module)?)?;
    module.add_function(wrap_pyfunction!(job::_schema_json, module)?)?;
    module.add_function(wrap_pyfunction!(job::_typical_values, module)?)?;
    module.add_function(wrap_pyfunction!(job::_engineering, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_law, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_laws, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_series, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_spots_ohm, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_fritting, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_small_spot_ohm, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_tunnelling_film, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_grown, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_time_to_s, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_metals_json, module)?)?;
    module.add_function(wrap_pyfunction!(physics::_environments, module)?)?;
    module.add_function(wrap_pyfunction!(hearing::_hearing, module)?)?;
    module.add_function(wrap_pyfunction!(hearing::_hearing_laws, module)?)?;
    module.add_function(wrap_pyfunction!(audible::_hearing_names, module)?)?;
    module.add_function(wrap_pyfunction!(audible::_masked, module)?)?;
    module.add_function(wrap_pyfunction!(audible::_audible, module)?)?;
    module.add_function(wrap_pyfunction!(audible::_smallest_noticeable_residue, module)?)?;
    module.add_function(wrap_pyfunction!(audible::_programme, module)?)?;
    module.add_function(wrap_pyfunction!(audible::_geddes_lee, module)?)?;
    module.add_function(wrap_pyfunction!(audible::_weighted_harmonics, module)?)?;
    module.add_function(wrap_pyfunction!(lanes::_lanes, module)?)?;
    module.add_function(wrap_pyfunction!(audible::_noticeable, module)?)?;
    module.add_function(wrap_pyfunction!(fit::_fit_film_json, module)?)?;
    module.add_function(wrap_pyfunction!(fit::_harmonics_json, module)?)?;
    module.add_function(wrap_pyfunction!(shop::_log_read, module)?)?;
    module.add_function(wrap_pyfunction!(shop::_log_words, module)?)?;
    module.add_function(wrap_pyfunction!(shop::_break_even, module)?)?;
    module.add_function(wrap_pyfunction!(shop::_heard_from, module)?)?;
    module.add_function(wrap_pyfunction!(shop::_cost_per_good_year, module)?)?;
    module.add("_ROOM_K", crate::physics::constants::ROOM_TEMPERATURE_K)?;
    module.add("_LORENZ_V2_PER_K2", crate::physics::constants::LORENZ_V2_PER_K2)?;
    module.add("_HOOGE", crate::physics::noise::HOOGE)?;
    module.add("_BREAKDOWN_FIELD_V_PER_M", crate::physics::fritting::BREAKDOWN_FIELD_V_PER_M)?;
    module.add("__version__", env!("CARGO_PKG_VERSION"))?;
    module.add("TYPICAL_VERSION", crate::circuit::typical::VERSION)?;
    Ok(())
}
