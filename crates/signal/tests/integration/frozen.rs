//! Counts of this crate, frozen: whoever changes them raises [`signal::METHOD`], so that older evidence counts no longer.

use signal::{Arithmetic, Block, Ends, HighPass, SensorChain, ShapedNoise, Welch};

const RATE_HZ: f64 = 16_000.0;
const SAMPLES: usize = 1 << 15;

/// One number of many (FNV-1a, 64 bit: offset basis and prime as Fowler, Noll and Vo publish them).
fn mixed(counts: &[i32]) -> u64 {
    let bytes = counts.iter().flat_map(|count| count.to_le_bytes());
    bytes.fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

/// Shaped noise through a high-pass and a converter: its steps, how many were clipped, and the level of a band.
#[test]
fn regress_other_counts_are_another_method() {
    let table = [(10.0, 110.0), (100.0, 80.0), (8000.0, 50.0)];
    let mut noise = ShapedNoise::new(&table, Ends::Hold, 4096, RATE_HZ).unwrap();
    let mut state = 7_u64;
    // The sum of twelve even numbers, less six, of a linear congruence (Knuth's constants, from memory).
    let mut even = move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / 16_777_216.0
    };
    let mut shaped = vec![0.0; SAMPLES];
    noise.fill(0, &mut shaped, |_| {
        (0..12).map(|_| even()).sum::<f64>() - 6.0
    });
    let high_pass = HighPass {
        corner_hz: 10.0,
        poles: 2,
    };
    let chain = SensorChain::new(-168.0, 26.0, Some(high_pass), 0.2, 16, RATE_HZ).unwrap();
    let mut passed = vec![0.0; SAMPLES];
    let mut filter = chain.high_pass_filter().unwrap().unwrap();
    filter.process(&shaped, &mut passed);
    let mut counts = vec![0; SAMPLES];
    let clipped = chain.quantise(&passed, &mut counts).unwrap();
    let mut heard = vec![0.0; SAMPLES];
    chain.pressure_upa(&counts, &mut heard).unwrap();
    let mut welch = Welch::new(4096, 2048, RATE_HZ, Arithmetic::Scalar).unwrap();
    welch.process(Block::new(0, &heard)).unwrap();
    let power = welch.psd().unwrap().band_power(60.0, 260.0).unwrap();
    let level_mdb = (1e4 * libm::log10(power)).round() as i64;
    assert_eq!(
        (signal::METHOD, clipped, mixed(&counts), level_mdb),
        (1, 8, 11_999_734_572_032_580_462, 102_850),
        "the same samples come to something else: raise `signal::METHOD` and freeze the new counts"
    );
}
