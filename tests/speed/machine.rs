//! What this machine can do at most, and what the arithmetic of one scalar call costs in Rust; one line of JSON, read by `table.py`.

use pulp::{Arch, Simd, WithSimd};
use std::hint::black_box;
use std::time::Instant;
use weaklink::circuit::chain::Network;
use weaklink::circuit::{Contact, Lead, Load, PathItem, Section, Source};
use weaklink::response::linear;
use weaklink::response::sweep::{self, Values};
use weaklink::watch::Unwatched;

const RUNS: usize = 9;
const ROUNDS: usize = 4_000_000;
/// Chains of multiply-adds side by side: more than latency times width of any processor of today.
const CHAINS: usize = 12;

struct MultiplyAdds;

impl WithSimd for MultiplyAdds {
    /// floating-point operations done
    type Output = usize;
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> usize {
        let (times, plus) = (simd.splat_f64s(black_box(0.999_999)), simd.splat_f64s(black_box(1e-6)));
        let mut chains = [simd.splat_f64s(1.0); CHAINS];
        for _ in 0..ROUNDS {
            for chain in &mut chains {
                *chain = simd.mul_add_e_f64s(*chain, times, plus);
            }
        }
        black_box(chains);
        2 * CHAINS * ROUNDS * S::F64_LANES
    }
}

/// Best of several runs of the same work in each of `threads` threads, work per second of all together.
fn rate(threads: usize, work: impl Fn() -> f64 + Sync) -> f64 {
    let once = || {
        let began = Instant::now();
        let done: f64 = std::thread::scope(|scope| {
            let all: Vec<_> = (0..threads).map(|_| scope.spawn(&work)).collect();
            all.into_iter().map(|one| one.join().unwrap_or(0.0)).sum()
        });
        done / began.elapsed().as_secs_f64()
    };
    (0..RUNS).map(|_| once()).fold(0.0, f64::max)
}

/// Bytes moved by `a = b + s c` over arrays that no cache holds.
fn triad(size: usize) -> f64 {
    thread_local! {
        static ARRAYS: std::cell::RefCell<[Vec<f64>; 3]> = const { std::cell::RefCell::new([Vec::new(), Vec::new(), Vec::new()]) };
    }
    ARRAYS.with_borrow_mut(|[a, b, c]| {
        a.resize(size, 0.0);
        b.resize(size, 1.0);
        c.resize(size, 2.0);
        let began = Instant::now();
        const PASSES: usize = 4;
        for _ in 0..PASSES {
            for ((a, b), c) in a.iter_mut().zip(b.iter()).zip(c.iter()) {
                *a = b + 3.0 * c;
            }
            black_box(&a);
        }
        (PASSES * 3 * 8 * size) as f64 / began.elapsed().as_secs_f64()
    })
}

fn cartridge() -> Network {
    let contact = |k: usize| PathItem::Contact(Contact::ohmic(format!("c{k}"), 0.0));
    let section = Section {
        name: "cartridge".into(),
        source: Some(Source { emf_v: 5e-3, resistance_ohm: 1000.0, inductance_h: 0.5 }),
        path: vec![
            PathItem::Lead(Lead { capacitance_f: 150e-12, ..Lead::default() }),
            contact(0),
            contact(1),
            contact(2),
        ],
        load: Load { capacitance_f: 100e-12, ..Load::resistance(47e3) },
    };
    match Network::from_section(&section) {
        Ok(network) => network,
        Err(fault) => {
            eprintln!("{fault}");
            std::process::exit(1)
        }
    }
}

/// Nanoseconds of a call, best of several runs.
fn each_ns(call: impl Fn() -> f64) -> f64 {
    const CALLS: u32 = 200_000;
    let once = || {
        let began = Instant::now();
        for _ in 0..CALLS {
            black_box(call());
        }
        began.elapsed().as_secs_f64() * 1e9 / f64::from(CALLS)
    };
    (0..RUNS).map(|_| once()).fold(f64::INFINITY, f64::min)
}

fn main() {
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let arch = Arch::new();
    let flops = || arch.dispatch(MultiplyAdds) as f64;
    let network = cartridge();
    let plain_ns = each_ns(|| linear::loss_db(&network, black_box(1000.0), black_box(&[0.0; 3])));
    let kernel_ns = each_ns(|| {
        let mut out = [0.0];
        let done =
            sweep::loss_db(&network, Values::One(black_box(1000.0)), &[Values::One(0.0); 3], &mut out, &Unwatched);
        if done.is_ok() { out[0] } else { f64::NAN }
    });
    println!(
        "{{\"threads\": {threads}, \"instructions\": \"{}\", \"gflops_one\": {:.2}, \"gflops_all\": {:.2}, \"gb_s_one\": {:.2}, \"gb_s_all\": {:.2}, \"scalar_plain_ns\": {plain_ns:.1}, \"scalar_kernel_ns\": {kernel_ns:.1}}}",
        match format!("{arch:?}") {
            name if name.starts_with("V3") => "AVX2 and FMA",
            name if name.starts_with("Scalar") => "plain",
            _ => "vectors",
        },
        rate(1, flops) / 1e9,
        rate(threads, flops) / 1e9,
        (0..RUNS).map(|_| triad(1 << 22)).fold(0.0, f64::max) / 1e9,
        rate_of_memory(threads) / 1e9,
    );
}

/// Bytes per second of all threads together: each measures its own passes, the slowest counts for all.
fn rate_of_memory(threads: usize) -> f64 {
    let once = || -> f64 {
        std::thread::scope(|scope| {
            let all: Vec<_> = (0..threads).map(|_| scope.spawn(|| triad(1 << 22))).collect();
            let rates: Vec<f64> = all.into_iter().map(|one| one.join().unwrap_or(0.0)).collect();
            threads as f64 * rates.into_iter().fold(f64::INFINITY, f64::min)
        })
    };
    (0..RUNS).map(|_| once()).fold(0.0, f64::max)
}
