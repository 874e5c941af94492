//! Where a recording tells nothing: samples at full scale, and one and the same value for long.
//!
//! A detector that is fed with them decides all the same, but neither a call nor its absence could have been seen there.

/// Part of a second that is looked at as a whole for samples at full scale (ours).
const PARTS_PER_S: f64 = 10.0;
/// Such a part is clipped when this share of its samples is at full scale or more (ours): an overdriven tone has more, a loud call
/// that touches full scale at its crests far less.
const CLIPPED_SHARE: f64 = 0.5;
/// So long must one value repeat for the recorder to have given nothing, s (ours); or from a begin to the next gap.
pub(crate) const FLAT_S: f64 = 1.0;

/// What is wrong with a span.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DeafBy {
    /// It is at full scale.
    Clipping,
    /// Every sample is the same.
    Silence,
}

/// A span in which the recording tells nothing, in frames of the stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Deaf {
    /// First frame.
    pub begin: u64,
    /// Frame after the last.
    pub end: u64,
    /// Why.
    pub by: DeafBy,
}

/// Finds such spans in samples that come block by block.
#[derive(Debug)]
pub(super) struct Deafness {
    part: u64,
    flat: u64,
    /// Frame at which hearing began anew, and the next frame.
    since: u64,
    next: u64,
    /// Begin of the part at hand and its samples at full scale.
    part_begin: u64,
    full: u64,
    /// The last value, and where it was given first in a row.
    value: Option<f32>,
    same_since: u64,
    found: Vec<Deaf>,
}

impl Deafness {
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            part: (libm::ceil(rate_hz / PARTS_PER_S) as u64).max(1),
            flat: (libm::ceil(rate_hz * FLAT_S) as u64).max(1),
            since: 0,
            next: 0,
            part_begin: 0,
            full: 0,
            value: None,
            same_since: 0,
            found: Vec::new(),
        }
    }

    /// The next samples, and the indices of those at full scale, in order.
    pub(super) fn push(&mut self, samples: &[f32], full_scale: &[usize]) {
        let origin = self.next;
        for (frame, &sample) in (origin..).zip(samples) {
            if self.value != Some(sample) {
                self.end_flat(frame, false);
                self.value = Some(sample);
                self.same_since = frame;
            }
        }
        let end = origin + samples.len() as u64;
        let mut full = full_scale.iter().map(|&i| origin + i as u64).peekable();
        loop {
            let part_end = self.part_begin + self.part;
            while full.next_if(|&frame| frame < part_end).is_some() {
                self.full += 1;
            }
            if part_end > end {
                break;
            }
            self.end_part(part_end);
        }
        self.next = end;
    }

    /// What follows from this frame on is heard anew.
    pub(super) fn gap(&mut self, frame: u64) {
        self.end_flat(self.next, self.same_since == self.since);
        self.end_part(self.next);
        self.value = None;
        (self.since, self.next) = (frame, frame);
        (self.part_begin, self.same_since) = (frame, frame);
    }

    /// All that was found, in order of the begins.
    pub(super) fn finish(mut self) -> Vec<Deaf> {
        self.gap(self.next);
        self.found.sort_by_key(|deaf| (deaf.begin, deaf.by));
        self.found
    }

    /// `whole` when nothing else was heard from a begin to the next gap.
    fn end_flat(&mut self, end: u64, whole: bool) {
        let length = end - self.same_since;
        if self.value.is_some() && (length >= self.flat || (whole && length > 1)) {
            self.add(self.same_since, end, DeafBy::Silence);
        }
    }

    fn end_part(&mut self, end: u64) {
        let length = end - self.part_begin;
        if self.full > 0 && self.full as f64 >= CLIPPED_SHARE * length as f64 {
            self.add(self.part_begin, end, DeafBy::Clipping);
        }
        self.part_begin = end;
        self.full = 0;
    }

    fn add(&mut self, begin: u64, end: u64, by: DeafBy) {
        match self.found.iter_mut().rev().find(|deaf| deaf.by == by) {
            Some(last) if last.end == begin => last.end = end,
            _ => self.found.push(Deaf { begin, end, by }),
        }
    }
}

/// Spans without what is deaf; both in order.
pub(super) fn without(spans: &[(u64, u64)], deaf: &[Deaf]) -> Vec<(u64, u64)> {
    let mut left = Vec::with_capacity(spans.len());
    let mut first = 0;
    let mut reach: Vec<(u64, u64)> = Vec::new();
    for &Deaf { begin, end, .. } in deaf {
        match reach.last_mut() {
            Some(last) if begin <= last.1 => last.1 = last.1.max(end),
            _ => reach.push((begin, end)),
        }
    }
    for &(begin, end) in spans {
        let mut from = begin;
        while first < reach.len() && reach[first].1 <= begin {
            first += 1;
        }
        for &(deaf_begin, deaf_end) in reach[first..].iter().take_while(|(b, _)| *b < end) {
            if from < deaf_begin {
                left.push((from, deaf_begin));
            }
            from = from.max(deaf_end);
        }
        if from < end {
            left.push((from, end));
        }
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(samples: &[f32], block: usize) -> Vec<(u64, u64, DeafBy)> {
        let mut deafness = Deafness::new(100.0);
        for piece in samples.chunks(block) {
            let full: Vec<usize> = (0..piece.len())
                .filter(|&i| piece[i].abs() >= 1.0)
                .collect();
            deafness.push(piece, &full);
        }
        let all = deafness.finish();
        all.iter().map(|d| (d.begin, d.end, d.by)).collect()
    }

    fn noise(i: usize) -> f32 {
        0.1 + 0.01 * (i % 7) as f32
    }

    #[test]
    fn verif_clipped_and_silent_spans_are_found_whatever_the_blocks() {
        let samples: Vec<f32> = (0..1000)
            .map(|i| match i {
                200..350 => [1.0, -1.0][i % 2],
                // Crests that touch full scale are no clipped stretch.
                400..500 if i % 3 == 0 => 1.0,
                600..730 => 0.0,
                // Shorter than a second.
                800..890 => 0.0,
                _ => noise(i),
            })
            .collect();
        for block in [1, 7, 64, 1000] {
            assert_eq!(
                found(&samples, block),
                [(200, 350, DeafBy::Clipping), (600, 730, DeafBy::Silence)],
                "{block}"
            );
        }
    }

    #[test]
    fn verif_what_is_all_the_same_is_silent_however_short() {
        assert_eq!(found(&[0.0; 30], 8), [(0, 30, DeafBy::Silence)]);
        assert_eq!(found(&[0.25; 30], 8), [(0, 30, DeafBy::Silence)]);
        let clipped = found(&[1.0; 35], 8);
        assert!(clipped.contains(&(0, 35, DeafBy::Clipping)), "{clipped:?}");
        assert_eq!(found(&[], 8), []);
    }

    #[test]
    fn verif_deaf_spans_are_cut_out() {
        let deaf = |begin, end| Deaf {
            begin,
            end,
            by: DeafBy::Clipping,
        };
        let spans = [(0, 10), (20, 30), (40, 50)];
        let cuts = [
            deaf(0, 3),
            deaf(2, 4),
            deaf(8, 22),
            deaf(25, 26),
            deaf(39, 60),
        ];
        assert_eq!(without(&spans, &cuts), [(4, 8), (22, 25), (26, 30)]);
        assert_eq!(without(&spans, &[]), spans);
    }
}
