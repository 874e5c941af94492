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

/// Outlines each mark on the plot and sets its number beside it where it hides no other number
/// and, if it can be helped, no other box. Gives back what was left out, in words.
pub(super) fn draw_boxes(
    canvas: &mut Canvas,
    plot: Area,
    time: &Axis,
    frequency: &Axis,
    marks: &[EventMark],
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
    if boxes.len() > MOST_BOXES || covered_px > most_px {
        return vec![format!(
            "{} marks are shown in the strip alone: as boxes they would hide the sound.",
            boxes.len()
        )];
    }
    for (_, area) in &boxes {
        canvas.outline(
            *area,
            Pen {
                colour: BLACK,
                width_px: OUTLINE_PX,
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
    use super::*;

    #[test]
    fn verif_backward_marks_are_refused_by_number() {
        let mark = EventMark {
            begin_s: 1.0,
            end_s: 2.0,
            band_hz: Some((60.0, 260.0)),
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
