//! The strip of numbered bars below a picture.

use super::canvas::{Align, Area, Canvas, Pen, text_width};
use super::colour::{BAR, GRID_LINE, INK};
use super::marks::{LEAST_BAR_PX, bar_of};
use super::{Axis, EventMark};

const LANE_PX: f64 = 24.0;
const LABEL_PX: f32 = 14.0;
const BAR_INSET_SHARE: f64 = 0.2;
const TEXT_GAP_PX: f64 = 6.0;
const ITEM_GAP_PX: f64 = 12.0;
const MOST_LABEL_LANES: usize = 6;
const MOST_NUMBER_LANES: usize = 4;

/// What is written beside the bars of a strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lettering {
    NumberAndLabel,
    Number,
    Nothing,
}

#[derive(Debug, Clone, PartialEq)]
struct Item {
    lane: usize,
    bar: (f64, f64),
    text: String,
    text_px: f64,
}

/// The strip below a picture: each mark a bar in its lane, with text that meets no other.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Strip {
    items: Vec<Item>,
    lettering: Lettering,
    lanes: usize,
    lane_px: f64,
    outside: usize,
}

/// Lays out the strip: numbers and labels in up to six lanes if they find room, else numbers in up
/// to four, else bars alone.
pub(super) fn lay_out_strip(marks: &[EventMark], time: &Axis) -> Strip {
    [
        (Lettering::NumberAndLabel, MOST_LABEL_LANES),
        (Lettering::Number, MOST_NUMBER_LANES),
    ]
    .into_iter()
    .find_map(|(lettering, lanes)| try_strip(marks, time, lettering, lanes))
    .unwrap_or_else(|| bare_strip(marks, time))
}

fn try_strip(
    marks: &[EventMark],
    time: &Axis,
    lettering: Lettering,
    most_lanes: usize,
) -> Option<Strip> {
    let end_px = time.pixels().1;
    let order = bars_in_order(marks, time);
    let mut lanes: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut items = Vec::with_capacity(order.len());
    for &(index, bar) in &order {
        let text = match lettering {
            Lettering::NumberAndLabel if !marks[index].label.is_empty() => {
                format!("{} {}", index + 1, marks[index].label)
            }
            _ => format!("{}", index + 1),
        };
        let width = text_width(&text, LABEL_PX);
        let after = bar.1 + TEXT_GAP_PX;
        let text_px = if after + width <= end_px {
            after
        } else {
            bar.0 - TEXT_GAP_PX - width
        };
        let extent = (bar.0.min(text_px), bar.1.max(text_px + width) + ITEM_GAP_PX);
        let free = |lane: &Vec<(f64, f64)>| {
            lane.iter()
                .rev()
                .all(|held| extent.0 >= held.1 || extent.1 <= held.0)
        };
        let lane = match lanes.iter().position(free) {
            Some(lane) => lane,
            None if lanes.len() < most_lanes => {
                lanes.push(Vec::new());
                lanes.len() - 1
            }
            None => return None,
        };
        if extent.0 < time.pixels().0 - LEAST_BAR_PX {
            return None;
        }
        lanes[lane].push(extent);
        items.push(Item {
            lane,
            bar,
            text,
            text_px,
        });
    }
    Some(Strip {
        outside: marks.len() - items.len(),
        items,
        lettering,
        lanes: lanes.len().max(1),
        lane_px: LANE_PX,
    })
}

/// Bars alone, in thin lanes that keep bars at one time apart as far as they reach.
fn bare_strip(marks: &[EventMark], time: &Axis) -> Strip {
    const HEIGHT_PX: f64 = 2.0 * LANE_PX;
    const MOST_LANES: usize = 12;
    const GAP_PX: f64 = 1.5;
    let mut lane_ends: Vec<f64> = Vec::new();
    let mut items = Vec::new();
    for (_, bar) in bars_in_order(marks, time) {
        let lane = match lane_ends.iter().position(|end| bar.0 >= end + GAP_PX) {
            Some(lane) => lane,
            None if lane_ends.len() < MOST_LANES => {
                lane_ends.push(f64::NEG_INFINITY);
                lane_ends.len() - 1
            }
            None => MOST_LANES - 1,
        };
        lane_ends[lane] = lane_ends[lane].max(bar.1);
        items.push(Item {
            lane,
            bar,
            text: String::new(),
            text_px: bar.1,
        });
    }
    let lanes = lane_ends.len().max(1);
    Strip {
        outside: marks.len() - items.len(),
        items,
        lettering: Lettering::Nothing,
        lanes,
        lane_px: HEIGHT_PX / lanes as f64,
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
        self.lanes as f64 * self.lane_px
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
        canvas.text(
            "Marks",
            (area.left - 10.0, area.top + LANE_PX - 7.0),
            LABEL_PX,
            Align::Right,
            INK,
        );
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
                INK,
            );
        }
    }

    /// What the strip leaves out, in words, if anything.
    pub(super) fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        match self.lettering {
            Lettering::NumberAndLabel => {}
            Lettering::Number => notes.push(format!(
                "Marks in the strip: {}, with numbers only, as there is no room for labels.",
                self.items.len()
            )),
            Lettering::Nothing => notes.push(format!(
                "Marks in the strip: {}, without numbers, as there is no room for them.",
                self.items.len()
            )),
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
            (60, Lettering::Number),
            (900, Lettering::Nothing),
        ] {
            let strip = lay_out_strip(&marks(count), &time);
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
