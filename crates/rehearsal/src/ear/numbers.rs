//! Normal numbers by index, drawn in blocks from named streams.

use chance::Stream;

const BLOCK: u64 = 4096;

/// Number `i` of an endless sequence that the seed and a name make: the `i mod 4096`-th draw of the stream's index `i / 4096`.
#[derive(Clone, Debug)]
pub(crate) struct Numbers {
    seed: u64,
    name: String,
    block: Option<u64>,
    ready: Vec<f64>,
}

impl Numbers {
    pub(crate) fn new(seed: u64, name: String) -> Self {
        Self {
            seed,
            name,
            block: None,
            ready: vec![0.0; BLOCK as usize],
        }
    }

    #[inline]
    pub(crate) fn at(&mut self, index: u64) -> f64 {
        let block = index / BLOCK;
        if self.block != Some(block) {
            self.draw(block);
        }
        self.ready[(index % BLOCK) as usize]
    }

    fn draw(&mut self, block: u64) {
        let mut stream = Stream::named(self.seed, &self.name, block);
        for number in &mut self.ready {
            *number = stream.gaussian();
        }
        self.block = Some(block);
    }
}
