//! The strip of numbered bars below a picture, and over it the row of samples at full scale.

use super::canvas::{Align, Area, Canvas, Pen, shortened, text_width};
use super::colour::{BAR, GRID_LINE, INK, WHITE};
use super::marks::{LEAST_BAR_PX, bar_of, counted};
use super::{Axis, EventMark};

const LANE_PX: f64 = 24.0;
const LABEL_PX: f32 = 14.0;
const BAR_INSET_SHARE: f64 = 0.2;
const TEXT_GAP_PX: f64 = 6.0;
const ITEM_GAP_PX: f64 = 12.0;
const MOST_LABEL_LANES: usize = 6;
const MOST_NUMBER_LANES: usize = 4;
/// Most lanes that the bars of one kind take where they have no text.
const MOST_BARE_LANES: usize = 6;
const FULL_SCALE_ROW_PX: f64 = 20.0;
const FULL_SCALE: &str = "Full scale";
/// Between the names left of the strip and the strip.
const NAME_GAP_PX: f64 = 10.0;
/// Room for names at most.
const MOST_NAME_PX: f64 = 150.0;
/// Fewer numbers than these tell nothing.
const LEAST_NUMBERS: usize = 3;
/// Which bars bear their number where not all can.
const STEPS: [usize; 9] = [2, 5, 10, 20, 50, 100, 200, 500, 1000];

/// What is written beside the bars of a strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lettering {
    NumberAndLabel,
    /// The numbers that are multiples of this.
    Number {
        step: usize,
    },
    Nothing,
}

#[derive(Debug, Clone, PartialEq)]
struct Item {
    lane: usize,
    bar: (f64, f64),
    text: String,
    text_px: f64,
    /// Whether the text stands in the bar, as there is no room beside it.
    inside: bool,
}

/// What a strip shows.
#[derive(Debug, Clone, Copy)]
pub(super) struct StripOf<'a> {
    pub(super) marks: &'a [EventMark],
    /// Names of the kinds of marks.
    pub(super) kinds: &'a [&'a str],
    /// Begin and end of each run of samples at full scale, in order, s.
    pub(super) full_scale_s: &'a [(f64, f64)],
}

/// The strip below a picture: each mark a bar in its lane, with text that meets no other.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Strip {
    items: Vec<Item>,
    marks: usize,
    /// First lane of each name.
    names: Vec<(usize, String)>,
    /// Runs of samples at full scale, pixels.
    full_scale: Vec<(f64, f64)>,
    lettering: Lettering,
    lanes: usize,
    lane_px: f64,
    outside: usize,
}

impl StripOf<'_> {
    /// Room that the names left of it need, pixels.
    pub(super) fn names_px(&self) -> f64 {
        let full_scale = (!self.full_scale_s.is_empty()).then_some(FULL_SCALE);
        let kinds = self.kinds.iter().copied().filter(|_| self.kinds.len() > 1);
        kinds
            .chain(full_scale)
            .map(|name| text_width(name, LABEL_PX).min(MOST_NAME_PX) + NAME_GAP_PX)
            .fold(0.0, f64::max)
    }
}

/// Lays out the strip: numbers and labels in up to six lanes if they find room, else numbers in up
/// to four, else every second, fifth ... number, else bars alone. Without labels each kind has lanes of its own.
pub(super) fn lay_out_strip(of: StripOf<'_>, time: &Axis) -> Strip {
    let kinds = of.kinds.len().max(1);
    let mut tries = vec![(Lettering::NumberAndLabel, MOST_LABEL_LANES)];
    let lanes = MOST_NUMBER_LANES.max(2 * kinds);
    tries.extend(
        std::iter::once(&1)
            .chain(&STEPS)
            .filter(|step| **step == 1 || of.marks.len() / **step >= LEAST_NUMBERS)
            .map(|&step| (Lettering::Number { step }, lanes)),
    );
    let mut strip = tries
        .into_iter()
        .find_map(|(lettering, lanes)| try_strip(of, time, lettering, lanes))
        .unwrap_or_else(|| bare_strip(of, time));
    let (left, right) = time.pixels();
    strip.full_scale = of
        .full_scale_s
        .iter()
        .filter_map(|&(begin_s, end_s)| time.cut(begin_s, end_s))
        .map(|(begin_s, end_s)| (time.px(begin_s), time.px(end_s)))
        .map(|(from, to)| ((from - 1.0).max(left), (to + 1.0).min(right)))
        .collect();
    strip
}

fn try_strip(
    of: StripOf<'_>,
    time: &Axis,
    lettering: Lettering,
    most_lanes: usize,
) -> Option<Strip> {
    let end_px = time.pixels().1;
    let order = bars_in_order(of.marks, time);
    let by_kind = of.kinds.len() > 1 && lettering != Lettering::NumberAndLabel;
    // Kind of each lane and what it holds.
    let mut lanes: Vec<(usize, Vec<(f64, f64)>)> = Vec::new();
    let mut items = Vec::with_capacity(order.len());
    for &(index, bar) in &order {
        let mark = &of.marks[index];
        let kind = if by_kind { mark.kind } else { 0 };
        let text = match lettering {
            Lettering::NumberAndLabel if !mark.label.is_empty() => {
                format!("no. {}: {}", index + 1, mark.label)
            }
            Lettering::Number { step } if (index + 1) % step != 0 => String::new(),
            _ => format!("{}", index + 1),
        };
        let width = text_width(&text, LABEL_PX);
        let after = bar.1 + TEXT_GAP_PX;
        let (begin_px, before) = (time.pixels().0, bar.0 - TEXT_GAP_PX - width);
        let inside = bar.0.max(begin_px) + TEXT_GAP_PX;
        let holds = inside + width + TEXT_GAP_PX <= bar.1.min(end_px);
        let (text_px, inside) = match () {
            () if after + width <= end_px => (after, false),
            () if before < begin_px && holds => (inside, true),
            () => (before, false),
        };
        let extent = if text.is_empty() {
            (bar.0, bar.1 + 1.5)
        } else {
            (bar.0.min(text_px), bar.1.max(text_px + width) + ITEM_GAP_PX)
        };
        let free = |(held_kind, lane): &(usize, Vec<(f64, f64)>)| {
            *held_kind == kind
                && lane
                    .iter()
                    .rev()
                    .all(|held| extent.0 >= held.1 || extent.1 <= held.0)
        };
        let lane = match lanes.iter().position(free) {
            Some(lane) => lane,
            None if lanes.len() < most_lanes => {
                lanes.push((kind, Vec::new()));
                lanes.len() - 1
            }
            None => return None,
        };
        if extent.0 < time.pixels().0 - LEAST_BAR_PX {
            return None;
        }
        lanes[lane].1.push(extent);
        items.push(Item {
            lane,
            bar,
            text,
            text_px,
            inside,
        });
    }
    let kinds: Vec<usize> = lanes.iter().map(|(kind, _)| *kind).collect();
    let names = if by_kind { of.kinds } else { &["Marks"] };
    let names = by_kinds(&mut items, &kinds, names);
    Some(Strip {
        marks: of.marks.len(),
        outside: of.marks.len() - items.len(),
        items,
        names,
        full_scale: Vec::new(),
        lettering,
        lanes: if of.marks.is_empty() {
            0
        } else {
            lanes.len().max(1)
        },
        lane_px: LANE_PX,
    })
}

/// Puts the lanes of a kind side by side; gives the first lane of each, with its name.
fn by_kinds(items: &mut [Item], kinds: &[usize], names: &[&str]) -> Vec<(usize, String)> {
    let mut order: Vec<usize> = (0..kinds.len()).collect();
    order.sort_by_key(|&lane| (kinds[lane], lane));
    for item in items {
        item.lane = order
            .iter()
            .position(|&lane| lane == item.lane)
            .expect("every lane is in the order");
    }
    let mut first: Vec<(usize, String)> = Vec::new();
    let mut last = None;
    for (place, &lane) in order.iter().enumerate() {
        if last != Some(kinds[lane]) {
            last = Some(kinds[lane]);
            let name = names.get(kinds[lane]).copied().unwrap_or("");
            first.push((place, name.to_owned()));
        }
    }
    first
}

/// Bars alone, in thin lanes that keep bars at one time apart as far as they reach.
fn bare_strip(of: StripOf<'_>, time: &Axis) -> Strip {
    const HEIGHT_PX: f64 = 2.0 * LANE_PX;
    const GAP_PX: f64 = 1.5;
    let by_kind = of.kinds.len() > 1;
    // Kind of each lane, and where it is free again.
    let mut lanes: Vec<(usize, f64)> = Vec::new();
    let mut items = Vec::new();
    for (index, bar) in bars_in_order(of.marks, time) {
        let kind = if by_kind { of.marks[index].kind } else { 0 };
        let own = || lanes.iter().enumerate().filter(|(_, lane)| lane.0 == kind);
        let free = own().find(|(_, lane)| bar.0 >= lane.1 + GAP_PX);
        let lane = match (free, own().next_back()) {
            (Some((lane, _)), _) => lane,
            (None, Some((lane, _))) if own().count() == MOST_BARE_LANES => lane,
            _ => {
                lanes.push((kind, f64::NEG_INFINITY));
                lanes.len() - 1
            }
        };
        lanes[lane].1 = lanes[lane].1.max(bar.1);
        items.push(Item {
            lane,
            bar,
            text: String::new(),
            text_px: bar.1,
            inside: false,
        });
    }
    let kinds: Vec<usize> = lanes.iter().map(|(kind, _)| *kind).collect();
    let names = if by_kind { of.kinds } else { &["Marks"] };
    let names = by_kinds(&mut items, &kinds, names);
    let count = lanes.len().max(1);
    // A name needs its own height.
    let height_px = HEIGHT_PX.max(names.len() as f64 * LANE_PX);
    Strip {
        marks: of.marks.len(),
        outside: of.marks.len() - items.len(),
        items,
        names,
        full_scale: Vec::new(),
        lettering: Lettering::Nothing,
        lanes: count,
        lane_px: height_px / count as f64,
    }
}

fn in_words(marks: usize) -> String {
    match marks {
        1 => "1 mark".to_owned(),
        n => format!("{n} marks"),
    }
}

/// Index and bar of each mark that reaches onto the axis, by begin.
fn bars_in_order(marks: &[EventMark], time: &Axis) -> Vec<(usize, (f64, f64))> {
    let mut order: Vec<(usize, (f64, f64))> = marks
        .iter()
        .enumerate()
        .filter_map(|(i, mark)| Some((i, bar_of(mark, time)?)))
        .collect();
    order.sort_by(|a, b| a.1.0.total_cmp(&b.1.0).then(a.0.cmp(&b.0)));
    order
}

impl Strip {
    pub(super) fn height_px(&self) -> f64 {
        self.row_px() + self.lanes as f64 * self.lane_px
    }

    fn row_px(&self) -> f64 {
        if self.full_scale.is_empty() {
            0.0
        } else {
            FULL_SCALE_ROW_PX
        }
    }

    pub(super) fn draw(&self, canvas: &mut Canvas, area: Area) {
        canvas.outline(
            area,
            Pen {
                colour: GRID_LINE,
                width_px: 1.0,
                dashes_px: &[],
            },
        );
        let name_at = |canvas: &mut Canvas, name: &str, baseline: f64| {
            let name = shortened(name, LABEL_PX, area.left - NAME_GAP_PX - 4.0);
            let at = (area.left - NAME_GAP_PX, baseline);
            canvas.text(&name, at, LABEL_PX, Align::Right, INK);
        };
        if !self.full_scale.is_empty() {
            let bottom = area.top + FULL_SCALE_ROW_PX;
            name_at(canvas, FULL_SCALE, bottom - 5.0);
            for &(left, right) in &self.full_scale {
                let run = Area {
                    left,
                    top: area.top + 3.0,
                    right,
                    bottom: bottom - 3.0,
                };
                canvas.fill(run, INK);
            }
            let line = [(area.left, bottom), (area.right, bottom)];
            canvas.line(
                &line,
                Pen {
                    colour: GRID_LINE,
                    width_px: 1.0,
                    dashes_px: &[],
                },
            );
        }
        let area = Area {
            top: area.top + self.row_px(),
            ..area
        };
        if self.marks > 0 {
            for (lane, name) in &self.names {
                let top = area.top + *lane as f64 * self.lane_px;
                name_at(canvas, name, top + LANE_PX - 7.0);
            }
        }
        let inset_px = self.lane_px * BAR_INSET_SHARE;
        for item in &self.items {
            let top = area.top + item.lane as f64 * self.lane_px;
            let bar = Area {
                left: item.bar.0.max(area.left),
                top: top + inset_px,
                right: item.bar.1.min(area.right),
                bottom: top + self.lane_px - inset_px,
            };
            canvas.fill(bar, BAR);
            let baseline = top + LANE_PX - 7.0;
            canvas.text(
                &item.text,
                (item.text_px, baseline),
                LABEL_PX,
                Align::Left,
                if item.inside { WHITE } else { INK },
            );
        }
    }

    /// What the strip leaves out, in words, if anything.
    pub(super) fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        match self.lettering {
            Lettering::NumberAndLabel => {}
            Lettering::Number { step: 1 } => notes.push(format!(
                "In the strip: {} by number; labels find no room.",
                in_words(self.items.len())
            )),
            Lettering::Number { step } => notes.push(format!(
                "In the strip: {}, one in {step} with its number ({}).",
                in_words(self.items.len()),
                counted(step, self.marks)
            )),
            Lettering::Nothing => notes.push(format!(
                "In the strip: {}, without numbers, which find no room.",
                in_words(self.items.len())
            )),
        }
        if !self.full_scale.is_empty() {
            notes.push(
                "Row \u{201c}Full scale\u{201d}: samples at full scale or beyond; what was louder is cut off there."
                    .to_owned(),
            );
        }
        if self.outside > 0 {
            notes.push(format!("Marks outside the time shown: {}.", self.outside));
        }
        notes
    }
}

#[cfg(test)]
mod tests {
    use super::super::AxisScale;
    use super::*;

    fn marks(count: usize) -> Vec<EventMark> {
        (0..count)
            .map(|i| EventMark {
                begin_s: i as f64 * 100.0 / count as f64,
                end_s: i as f64 * 100.0 / count as f64 + 0.5,
                band_hz: None,
                sweep_hz: None,
                kind: i % 2,
                label: "upcall  124.3 dB".to_owned(),
            })
            .collect()
    }

    #[test]
    fn verif_no_text_of_the_strip_meets_another() {
        let time = Axis::new(
            "time",
            "s",
            AxisScale::Linear,
            (0.0, 100.0),
            (100.0, 1300.0),
        )
        .unwrap();
        for (count, lettering) in [
            (1, Lettering::NumberAndLabel),
            (12, Lettering::NumberAndLabel),
            (60, Lettering::Number { step: 1 }),
            (300, Lettering::Number { step: 20 }),
            (900, Lettering::Nothing),
        ] {
            let marks = marks(count);
            let of = StripOf {
                marks: &marks,
                kinds: &["upcall"],
                full_scale_s: &[],
            };
            let strip = lay_out_strip(of, &time);
            assert_eq!(strip.lettering, lettering, "{count} marks");
            assert_eq!(strip.items.len(), count);
            let spans: Vec<_> = strip
                .items
                .iter()
                .filter(|item| !item.text.is_empty())
                .map(|item| {
                    let end = item.text_px + text_width(&item.text, LABEL_PX);
                    (item.lane, item.text_px.min(item.bar.0), end.max(item.bar.1))
                })
                .collect();
            for (i, a) in spans.iter().enumerate() {
                for b in &spans[i + 1..] {
                    assert!(a.0 != b.0 || a.2 <= b.1 || b.2 <= a.1, "{a:?} meets {b:?}");
                }
            }
        }
    }
}
