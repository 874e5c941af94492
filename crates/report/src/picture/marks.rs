//! Marks of events: numbers in a strip below the picture, and boxes on it.

use super::canvas::{Align, Area, Canvas, Pen, text_width};
use super::colour::{BAR, BLACK, GRID_LINE, INK, QUIET_INK, WHITE};
use super::{Axis, PictureError};

/// An event to be marked. Its number on the picture is its place in the list, from 1.
#[derive(Debug, Clone, PartialEq)]
pub struct EventMark {
    /// Begin, seconds after the first sample of the recording.
    pub begin_s: f64,
    /// End, seconds; not before the begin.
    pub end_s: f64,
    /// Lowest and highest frequency, hertz; without them the mark runs over the whole height.
    pub band_hz: Option<(f64, f64)>,
    /// A few words for the strip, such as `upcall  124.3 dB`. The number is put before it.
    pub label: String,
}

pub(super) const LANE_PX: f64 = 24.0;
const LABEL_PX: f32 = 14.0;
const TAG_PX: f32 = 14.0;
const BAR_INSET_PX: f64 = 5.0;
const LEAST_BAR_PX: f64 = 4.0;
const TEXT_GAP_PX: f64 = 6.0;
const ITEM_GAP_PX: f64 = 12.0;
const MOST_LABEL_LANES: usize = 6;
const MOST_NUMBER_LANES: usize = 4;
/// Above this number boxes would bury the picture: only the strip remains.
const MOST_BOXES: usize = 500;

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
    pub(super) lanes: usize,
    outside: usize,
}

pub(super) fn check_marks(marks: &[EventMark]) -> Result<(), PictureError> {
    for (index, mark) in marks.iter().enumerate() {
        let refuse = |what, low, high, unit| PictureError::Mark {
            number: index + 1,
            what,
            low,
            high,
            unit,
        };
        if !(mark.begin_s.is_finite() && mark.end_s.is_finite() && mark.begin_s <= mark.end_s) {
            return Err(refuse("time", mark.begin_s, mark.end_s, "s"));
        }
        if let Some((low, high)) = mark.band_hz
            && !(low.is_finite() && high.is_finite() && low >= 0.0 && low < high)
        {
            return Err(refuse("band", low, high, "Hz"));
        }
    }
    Ok(())
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

fn bar_of(mark: &EventMark, time: &Axis) -> Option<(f64, f64)> {
    let (begin, end) = time.cut(mark.begin_s, mark.end_s)?;
    let (left, right) = (time.px(begin), time.px(end));
    let short = (LEAST_BAR_PX - (right - left)).max(0.0) / 2.0;
    Some((left - short, right + short))
}

fn try_strip(
    marks: &[EventMark],
    time: &Axis,
    lettering: Lettering,
    most_lanes: usize,
) -> Option<Strip> {
    let end_px = time.pixels().1;
    let mut order: Vec<(usize, (f64, f64))> = marks
        .iter()
        .enumerate()
        .filter_map(|(i, mark)| Some((i, bar_of(mark, time)?)))
        .collect();
    order.sort_by(|a, b| a.1.0.total_cmp(&b.1.0).then(a.0.cmp(&b.0)));
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
    })
}

fn bare_strip(marks: &[EventMark], time: &Axis) -> Strip {
    let items: Vec<Item> = marks
        .iter()
        .filter_map(|mark| bar_of(mark, time))
        .map(|bar| Item {
            lane: 0,
            bar,
            text: String::new(),
            text_px: bar.1,
        })
        .collect();
    Strip {
        outside: marks.len() - items.len(),
        items,
        lettering: Lettering::Nothing,
        lanes: 1,
    }
}

impl Strip {
    pub(super) fn height_px(&self) -> f64 {
        self.lanes as f64 * LANE_PX
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
        for item in &self.items {
            let top = area.top + item.lane as f64 * LANE_PX;
            let bar = Area {
                left: item.bar.0.max(area.left),
                top: top + BAR_INSET_PX,
                right: item.bar.1.min(area.right),
                bottom: top + LANE_PX - BAR_INSET_PX,
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
                "The {} marks carry numbers only: there is no room for their labels.",
                self.items.len()
            )),
            Lettering::Nothing => notes.push(format!(
                "The {} marks carry no numbers: there is no room for them.",
                self.items.len()
            )),
        }
        if self.outside > 0 {
            notes.push(format!("Marks outside the time shown: {}.", self.outside));
        }
        notes
    }
}

/// Outlines each mark on the plot and sets its number beside it where it hides no other number
/// and, if it can be helped, no other box. Gives back what was left out, in words.
pub(super) fn draw_boxes(
    canvas: &mut Canvas,
    plot: Area,
    time: &Axis,
    frequency: &Axis,
    marks: &[EventMark],
) -> Vec<String> {
    if marks.len() > MOST_BOXES {
        return vec![format!(
            "The {} marks are shown in the strip alone: as boxes they would hide the sound.",
            marks.len()
        )];
    }
    let boxes: Vec<(usize, Area)> = marks
        .iter()
        .enumerate()
        .filter_map(|(index, mark)| Some((index + 1, box_of(mark, plot, time, frequency)?)))
        .collect();
    for (_, area) in &boxes {
        canvas.outline(
            *area,
            Pen {
                colour: BLACK,
                width_px: 4.0,
                dashes_px: &[],
            },
        );
        canvas.outline(
            *area,
            Pen {
                colour: WHITE,
                width_px: 2.0,
                dashes_px: &[],
            },
        );
    }
    let mut tags: Vec<Area> = Vec::new();
    let mut left_out = 0;
    for (number, area) in &boxes {
        let text = number.to_string();
        match tag_place(&text, *area, plot, &boxes, &tags) {
            Some(tag) => {
                canvas.fill(tag, WHITE);
                canvas.outline(
                    tag,
                    Pen {
                        colour: BLACK,
                        width_px: 1.0,
                        dashes_px: &[],
                    },
                );
                let middle = (tag.left + tag.right) / 2.0;
                canvas.text(
                    &text,
                    (middle, tag.bottom - 4.0),
                    TAG_PX,
                    Align::Centre,
                    BLACK,
                );
                tags.push(tag);
            }
            None => left_out += 1,
        }
    }
    let mut notes = Vec::new();
    if left_out > 0 {
        notes.push(format!(
            "Numbers left off the picture for room: {left_out}; the strip has the times."
        ));
    }
    let timely = marks.iter().filter(|mark| bar_of(mark, time).is_some());
    let beyond = timely.count() - boxes.len();
    if beyond > 0 {
        notes.push(format!(
            "Marks outside the frequencies shown, in the strip alone: {beyond}."
        ));
    }
    notes
}

fn box_of(mark: &EventMark, plot: Area, time: &Axis, frequency: &Axis) -> Option<Area> {
    const MARGIN_PX: f64 = 3.0;
    let (left, right) = bar_of(mark, time)?;
    let (low, high) = match mark.band_hz {
        Some((low, high)) => frequency.cut(low, high)?,
        None => frequency.range(),
    };
    Some(Area {
        left: (left - MARGIN_PX).max(plot.left + 2.0),
        top: (frequency.px(high) - MARGIN_PX).max(plot.top + 2.0),
        right: (right + MARGIN_PX).min(plot.right - 2.0),
        bottom: (frequency.px(low) + MARGIN_PX).min(plot.bottom - 2.0),
    })
}

fn tag_place(
    text: &str,
    around: Area,
    plot: Area,
    boxes: &[(usize, Area)],
    tags: &[Area],
) -> Option<Area> {
    const HEIGHT_PX: f64 = 19.0;
    let width = libm::ceil(text_width(text, TAG_PX)) + 8.0;
    let at = |left: f64, top: f64| {
        let (left, top) = (libm::round(left) + 0.5, libm::round(top) + 0.5);
        Area {
            left,
            top,
            right: left + width,
            bottom: top + HEIGHT_PX,
        }
    };
    let (above, below) = (around.top - HEIGHT_PX - 2.0, around.bottom + 2.0);
    let places = [
        at(around.left, above),
        at(around.right - width, above),
        at(around.left, below),
        at(around.right + 2.0, around.top),
        at(around.left - width - 2.0, around.top),
        at(around.right + 2.0, around.bottom - HEIGHT_PX),
        at(around.left + 2.0, around.top + 2.0),
        at(around.left + 2.0, around.bottom - HEIGHT_PX - 2.0),
    ];
    let clear = |tag: &&Area| plot.holds(tag) && !tags.iter().any(|t| t.meets(tag));
    let best = places
        .iter()
        .filter(clear)
        .find(|tag| !boxes.iter().any(|(_, other)| other.meets(tag)));
    best.or_else(|| places.iter().find(clear)).copied()
}

/// Draws each mark of a level picture as a band with a dashed edge, before the lines.
pub(super) fn draw_bands(canvas: &mut Canvas, plot: Area, time: &Axis, marks: &[EventMark]) {
    const TINT: [u8; 3] = [214, 229, 239];
    const NARROW_PX: f64 = 10.0;
    for mark in marks {
        if let Some((left, right)) = bar_of(mark, time) {
            let band = Area {
                left: left.max(plot.left),
                right: right.min(plot.right),
                ..plot
            };
            canvas.fill(band, TINT);
            if band.width() < NARROW_PX {
                continue;
            }
            for px in [band.left, band.right] {
                canvas.line(
                    &[(px, plot.top), (px, plot.bottom)],
                    Pen {
                        colour: QUIET_INK,
                        width_px: 1.0,
                        dashes_px: &[2.0, 4.0],
                    },
                );
            }
        }
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

    #[test]
    fn verif_backward_marks_are_refused_by_number() {
        let mut list = marks(3);
        list[1].end_s = -1.0;
        assert!(matches!(
            check_marks(&list),
            Err(PictureError::Mark {
                number: 2,
                what: "time",
                ..
            })
        ));
        list[1].end_s = f64::NAN;
        assert!(check_marks(&list).is_err());
    }
}
