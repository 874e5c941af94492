//! Marks of events: what they are, and how they stand on the plot.

use super::canvas::{Align, Area, Canvas, Pen, text_width};
use super::colour::{BLACK, QUIET_INK, WHITE};
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
    /// Frequency at its begin and at its end of a straight line through it, hertz, where it is one that moves.
    pub sweep_hz: Option<(f64, f64)>,
    /// Index of its kind, such as the detector that found it, among the kinds of the picture.
    pub kind: usize,
    /// A few words for the strip, such as `upcall  124.3 dB`. The number is put before it.
    pub label: String,
}

const TAG_PX: f32 = 14.0;
pub(super) const LEAST_BAR_PX: f64 = 4.0;
/// Above this number, or this share of the plot under outlines, boxes would bury the picture: only
/// the strip remains.
const MOST_BOXES: usize = 500;
const MOST_COVERED_SHARE: f64 = 0.15;
const OUTLINE_PX: f32 = 4.0;

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
        if let Some((from, to)) = mark.sweep_hz
            && !(from.is_finite() && to.is_finite() && from >= 0.0 && to >= 0.0)
        {
            return Err(refuse("sweep", from, to, "Hz"));
        }
    }
    Ok(())
}

/// Left and right edge of a mark on the axis, wide enough to be seen; none when it lies outside.
pub(super) fn bar_of(mark: &EventMark, time: &Axis) -> Option<(f64, f64)> {
    let (begin, end) = time.cut(mark.begin_s, mark.end_s)?;
    let (left, right) = (time.px(begin), time.px(end));
    let short = (LEAST_BAR_PX - (right - left)).max(0.0) / 2.0;
    Some((left - short, right + short))
}

/// Dashes of the outline of each kind, pixels on and off, with a word for them; further kinds begin again.
const STYLES: [(&str, &[f32]); 4] = [
    ("unbroken", &[]),
    ("dashed", &[9.0, 6.0]),
    ("dotted", &[3.0, 4.0]),
    ("dash and dot", &[11.0, 4.0, 3.0, 4.0]),
];

/// Which boxes bear their number: every one, or every second, fifth, tenth and so on.
const STEPS: [usize; 10] = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];

/// Outlines each mark on the plot, in the manner of its kind, and sets numbers at their own boxes: at each if they find
/// room, else at every second, fifth, tenth ... Gives back, in words, the manners and what was left out.
pub(super) fn draw_boxes(
    canvas: &mut Canvas,
    plot: Area,
    time: &Axis,
    frequency: &Axis,
    marks: &[EventMark],
    kinds: &[&str],
) -> Vec<String> {
    let boxes: Vec<(usize, Area)> = marks
        .iter()
        .enumerate()
        .filter_map(|(index, mark)| Some((index + 1, box_of(mark, plot, time, frequency)?)))
        .collect();
    let covered_px: f64 = boxes
        .iter()
        .map(|(_, area)| 2.0 * (area.width() + area.height()) * f64::from(OUTLINE_PX))
        .sum();
    let most_px = MOST_COVERED_SHARE * plot.width() * plot.height();
    let timely = marks.iter().filter(|mark| bar_of(mark, time).is_some());
    let timely = timely.count();
    if boxes.len() > MOST_BOXES || covered_px > most_px {
        return vec![format!(
            "{timely} marks are shown in the strip alone: as boxes they would hide the sound."
        )];
    }
    let tags = STEPS.iter().find_map(|&step| {
        let tags = tags_of_every(step, plot, &boxes)?;
        Some((step, tags))
    });
    if let Some((_, tags)) = &tags {
        for tag in tags {
            tag.draw_leader(canvas);
        }
    }
    for (number, area) in &boxes {
        let kind = marks[number - 1].kind;
        for (colour, width_px, dashes_px) in [
            (BLACK, OUTLINE_PX, &[][..]),
            (WHITE, 2.0, STYLES[kind % STYLES.len()].1),
        ] {
            let pen = Pen {
                colour,
                width_px,
                dashes_px,
            };
            canvas.outline(*area, pen);
        }
    }
    let drawn = boxes.iter().filter(|(number, _)| {
        let mark = &marks[number - 1];
        draw_sweep(canvas, mark, time, frequency)
    });
    let sweeps = drawn.count();
    let mut notes = Vec::new();
    let shown = |kind: &usize| boxes.iter().any(|(n, _)| marks[n - 1].kind == *kind);
    let manners: Vec<String> = (0..kinds.len())
        .filter(shown)
        .map(|kind| format!("{} {}", kinds[kind], STYLES[kind % STYLES.len()].0))
        .collect();
    if manners.len() > 1 {
        notes.push(format!("Outlines: {}.", manners.join(", ")));
    }
    if sweeps > 0 {
        notes.push("Slanting lines: straight lines through ridges.".to_owned());
    }
    match tags {
        Some((step, tags)) => {
            for tag in &tags {
                tag.draw(canvas);
            }
            if step > 1 {
                notes.push(match tags.len() {
                    0 => "No box bears its number, for want of room.".to_owned(),
                    _ => format!(
                        "One box in {step} bears its number ({}).",
                        counted(step, marks.len())
                    ),
                });
            }
        }
        None => notes.push("No box bears its number, for want of room.".to_owned()),
    }
    let beyond = timely - boxes.len();
    if beyond > 0 {
        notes.push(format!(
            "Marks outside the frequencies shown, in the strip alone: {beyond}."
        ));
    }
    notes
}

/// The straight line through a mark that has one, thin and broken, so that what it runs through stays visible. Whether it lies on the
/// plot.
fn draw_sweep(canvas: &mut Canvas, mark: &EventMark, time: &Axis, frequency: &Axis) -> bool {
    let Some((from_hz, to_hz)) = mark.sweep_hz else {
        return false;
    };
    let slope = (to_hz - from_hz) / (mark.end_s - mark.begin_s);
    let Some((begin_s, end_s)) = time.cut(mark.begin_s, mark.end_s) else {
        return false;
    };
    let at_hz = |s: f64| {
        if slope.is_finite() {
            from_hz + slope * (s - mark.begin_s)
        } else {
            from_hz
        }
    };
    // On a logarithmic axis a straight line bends.
    const POINTS: u32 = 32;
    let points: Vec<(f64, f64)> = (0..=POINTS)
        .map(|i| begin_s + (end_s - begin_s) * f64::from(i) / f64::from(POINTS))
        .map(|s| (s, at_hz(s)))
        .filter(|(_, hz)| frequency.holds(*hz))
        .map(|(s, hz)| (time.px(s), frequency.px(hz)))
        .collect();
    if points.len() < 2 {
        return false;
    }
    for (colour, width_px, dashes_px) in [(BLACK, 3.0, &[][..]), (WHITE, 1.6, &[8.0, 4.0][..])] {
        let pen = Pen {
            colour,
            width_px,
            dashes_px,
        };
        canvas.line(&points, pen);
    }
    true
}

/// The multiples of `step` up to `last`, in words: `10, 20 ... 90`.
pub(super) fn counted(step: usize, last: usize) -> String {
    match last / step {
        0 => "none".to_owned(),
        1 => step.to_string(),
        2 => format!("{step}, {}", 2 * step),
        n => format!("{step}, {} ... {}", 2 * step, n * step),
    }
}

/// A number at its box, with a line to it where it stands apart.
struct Tag {
    text: String,
    area: Area,
    leader: Option<Area>,
}

impl Tag {
    fn draw_leader(&self, canvas: &mut Canvas) {
        let Some(leader) = self.leader else { return };
        canvas.fill(leader, BLACK);
        let inner = Area {
            left: leader.left + 1.0,
            right: leader.right - 1.0,
            ..leader
        };
        canvas.fill(inner, WHITE);
    }

    fn draw(&self, canvas: &mut Canvas) {
        canvas.fill(self.area, WHITE);
        canvas.outline(
            self.area,
            Pen {
                colour: BLACK,
                width_px: 1.0,
                dashes_px: &[],
            },
        );
        let middle = (self.area.left + self.area.right) / 2.0;
        canvas.text(
            &self.text,
            (middle, self.area.bottom - 4.0),
            TAG_PX,
            Align::Centre,
            BLACK,
        );
    }
}

/// The numbers that are multiples of `step`, each where it belongs to its own box and to no other; none when one of them
/// finds no such place.
fn tags_of_every(step: usize, plot: Area, boxes: &[(usize, Area)]) -> Option<Vec<Tag>> {
    let mut tags: Vec<Tag> = Vec::new();
    for (number, own) in boxes.iter().filter(|(number, _)| number % step == 0) {
        let tag = tag_at(*number, *own, plot, boxes, &tags)?;
        tags.push(tag);
    }
    Some(tags)
}

fn tag_at(
    number: usize,
    own: Area,
    plot: Area,
    boxes: &[(usize, Area)],
    tags: &[Tag],
) -> Option<Tag> {
    const HEIGHT_PX: f64 = 19.0;
    /// Gap that shows to which box a number belongs.
    const CLEAR_PX: f64 = 5.0;
    /// Lengths of the line to a number that stands apart.
    const LEADERS_PX: [f64; 3] = [10.0, 32.0, 54.0];
    let text = number.to_string();
    let width = libm::ceil(text_width(&text, TAG_PX)) + 8.0;
    let at = |left: f64, top: f64| {
        let (left, top) = (libm::round(left) + 0.5, libm::round(top) + 0.5);
        Area {
            left,
            top,
            right: left + width,
            bottom: top + HEIGHT_PX,
        }
    };
    let middle = libm::round((own.left + own.right) / 2.0);
    let beside = [
        at(own.left, own.top - HEIGHT_PX - 2.0),
        at(own.right - width, own.top - HEIGHT_PX - 2.0),
        at(own.left, own.bottom + 2.0),
        at(own.right + 2.0, own.top),
        at(own.left - width - 2.0, own.top),
        at(own.right + 2.0, own.bottom - HEIGHT_PX),
    ]
    .map(|area| (area, None));
    let inside = [
        at(own.left + 3.0, own.top + 3.0),
        at(own.left + 3.0, own.bottom - HEIGHT_PX - 4.0),
    ]
    .map(|area| (area, None));
    let apart = LEADERS_PX.iter().flat_map(|length| {
        let line = |top: f64, bottom: f64| Area {
            left: middle - 2.0,
            top,
            right: middle + 2.0,
            bottom,
        };
        let above = at(middle - width / 2.0, own.top - length - HEIGHT_PX);
        let below = at(middle - width / 2.0, own.bottom + length);
        [
            (above, Some(line(above.bottom, own.top))),
            (below, Some(line(own.bottom, below.top))),
        ]
    });
    let wider = |area: &Area, by: f64| Area {
        left: area.left - by,
        top: area.top - by,
        right: area.right + by,
        bottom: area.bottom + by,
    };
    let others = || boxes.iter().filter(|(n, _)| *n != number).map(|(_, b)| b);
    let free = |area: &Area, by: f64| {
        let around = wider(area, by);
        plot.holds(area)
            // A box all around is in nobody's way; its edge is.
            && !others().any(|other| other.meets(&around) && !other.holds(&around))
            && !tags.iter().any(|tag| {
                tag.area.meets(area) || tag.leader.is_some_and(|leader| leader.meets(area))
            })
    };
    let fits = |(area, leader): &(Area, Option<Area>)| {
        // What has a line of its own may come near to another box.
        free(area, if leader.is_some() { 1.0 } else { CLEAR_PX })
            && leader.is_none_or(|leader| free(&leader, 1.0))
    };
    let holds = |(area, leader): &(Area, Option<Area>)| {
        own.holds(&wider(area, 2.0)) && fits(&(*area, *leader))
    };
    let (area, leader) = beside
        .into_iter()
        .find(fits)
        .or_else(|| inside.into_iter().find(holds))
        .or_else(|| apart.into_iter().find(fits))?;
    Some(Tag { text, area, leader })
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
    use super::*;

    #[test]
    fn verif_backward_marks_are_refused_by_number() {
        let mark = EventMark {
            begin_s: 1.0,
            end_s: 2.0,
            band_hz: Some((60.0, 260.0)),
            sweep_hz: None,
            kind: 0,
            label: String::new(),
        };
        let mut list = vec![mark; 3];
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
        list[1].end_s = 1.0;
        assert!(check_marks(&list).is_ok());
        list[0].band_hz = Some((260.0, 60.0));
        assert!(matches!(
            check_marks(&list),
            Err(PictureError::Mark {
                number: 1,
                what: "band",
                ..
            })
        ));
    }
}
