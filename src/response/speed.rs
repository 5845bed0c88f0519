//! Where the time of the array kernels goes, and what was tried that did not help. Nothing to call.
//!
//! `python tests/speed/table.py` prints the times: both sides of a row in one run, and the share of what the processor can do at most.
//! Counts of operations were made by hand from the sources and are good to a tenth.
//!
//! # Loss over sets and frequencies
//!
//! [`sweep`](super::sweep) walks each ladder with the contacts and without, the state of 8 points in registers, one step after the other, and ends
//! with a logarithm: 92 operations a point on the three-contact example, 34 of them the logarithm. Measured: 6.6 ns of processor
//! time a point on a machine with other work on it, of which the logarithm alone takes 1.1. Where the rest goes was not measured apart;
//! the columns are read in blocks of 32 points, each with two whole divisions, and the answer's memory is set to zero before it is filled.
//!
//! # Films in resistive loops
//!
//! [`steady::abreast`](super::steady::abreast) needs one exponential (a bridge: one arctangent) for each instant. A mild film takes 4 to 40 even
//! instants of a quarter period: of 140 ns a tunnelling film the foreseeing of instants takes 11; by the count of operations nine tenths of the rest are
//! roots and a tenth lines. Writing ten harmonics and the other columns adds 30 to 60 ns. A film costs as many even instants as its strip of analyticity
//! asks for (about `1.5 + 11.5/eta`), whatever its law does in between.
//!
//! From 40 even instants on a film goes on instants that stand where its waveform bends: 24 to 128 of them, for eleven lines, where the strip is anything
//! from 0.3 down to 1e-4, so that a stiff film costs a few times a mild one. The nodes are foreseen as `18.5/m`, `m` from the ellipse through the
//! nearest singular point, and some two for each order of the highest line asked for: harmonics that are not asked for cost nothing. Processor
//! time of the whole call a film, ten harmonics written, 20 000 films of 1 to 300 ohm in a loop of 1 kohm (`alone.scaling()` of `tests/speed/table.py`; a machine with much other work on it):
//!
//! | film | 0.5 V, ns | 5 V | 50 V |
//! | --- | --- | --- | --- |
//! | tunnelling, 0.1 V | 213 | 421 | 673 |
//! | rectifying, leak 0.1 | 434 | 872 | 1603 |
//! | bridged | 263 | 642 | 1144 |
//!
//! Before there were graded instants the same films cost 1 to 5 us at 104 to 256 even instants, and past them, alone, 60 to 600 us
//! (235 us on the average of the tunnelling row at 50 V). A hundred harmonics ask for more nodes than there are rules for (480) from some level on: such films
//! still go alone.
//!
//! # How the cost grows
//!
//! Loss: a load and four operations for each further contact. Films: with the instants, which grow with the logarithm of the level once the
//! film is stiff. Harmonics cost only their writing, 16 bytes each, on even instants; on graded ones each line is a sum over the instants and asks
//! for some more of them. Draws and points are worked in chunks of a fixed size, so time is
//! in proportion and memory beside the answer does not grow.
//!
//! # Tried
//!
//! Films, nanoseconds each on one thread of a shared machine (AMD EPYC with AVX-512), best of nine, kernel alone:
//!
//! | what | ns |
//! | --- | --- |
//! | one film after the other, scalar (the direct road; measured on the quiet machine, all of the call) | 2500 |
//! | AVX2, one vector after the other | 161 |
//! | AVX2, two side by side (taken) | 140 |
//! | AVX2, four side by side: they no longer fit the registers | 172 |
//! | AVX-512, one | 101 |
//! | AVX-512, two (not taken: its intrinsics are stable from Rust 1.89 \[memory\], this crate asks for 1.85) | 79 |
//! | AVX-512, four | 116 |
//!
//! * A transform for the lines of many even instants: not needed, as no film that would want it stays there.
//! * A third of the films of that sweep would have met the tolerance on the next smaller table: what the foreseeing gives away.
//! * Loss of one loop as `|1 + R/M|^2`, M once for each frequency that comes again: 5.4 instead of 6.6 ns a point, and
//!   answers that differ in the last place with the shape of the arrays, which they must not. Taken back. With the same vector walk
//!   for every shape it could come again.
//! * A scalar call asked Python for numpy each time, which it does not need: 0.92 us of processor time with that
//!   and with 32 lanes worked for one point, 0.49 with neither.
//! * `mul_add` of the standard library without the processor's own instruction calls a function: kernels use `pulp`'s, which
//!   multiplies and adds where that is faster.
