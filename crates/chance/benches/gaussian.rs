//! Time of one normal draw: `cargo bench -p chance`.

#![expect(clippy::print_stdout, reason = "a bench reports on standard output")]

use std::hint::black_box;
use std::time::Instant;

use chance::Stream;

const DRAWS: usize = 1 << 24;
const BLOCK: usize = 4096;

fn main() {
    let mut stream = Stream::named(1, "bench", 0);
    let mut out = vec![0.0_f32; BLOCK];
    stream.fill_gaussian_f32(&mut out);
    for _ in 0..3 {
        let begin = Instant::now();
        for _ in 0..DRAWS / BLOCK {
            stream.fill_gaussian_f32(black_box(&mut out));
        }
        let filled = begin.elapsed();
        let begin = Instant::now();
        let sum: f64 = (0..DRAWS).map(|_| stream.gaussian()).sum();
        black_box(sum);
        let drawn = begin.elapsed();
        let each = |elapsed: std::time::Duration| elapsed.as_secs_f64() * 1e9 / DRAWS as f64;
        println!(
            "fill_gaussian_f32 {:.2} ns, gaussian {:.2} ns a draw",
            each(filled),
            each(drawn)
        );
    }
}
