//! Lines that hang between an anchor and what holds their top, as the plan says them: sections from the anchor upwards, and what hangs on them.

use mooring::Form;
use plan::{Hull, Line, ModuleIx, Position, Q, Rope, SectionEnd, SectionIx};

/// A line from an anchor to what holds its top.
#[derive(Clone, Debug, PartialEq)]
pub struct Moored {
    /// Index into [`Line::anchors`].
    pub anchor: usize,
    /// What holds its top.
    pub top: MooredTop,
    /// Its lengths from the anchor upwards.
    pub pieces: Vec<Piece>,
    /// What hangs on it, from the anchor upwards.
    pub hung: Vec<Hung>,
}

/// What holds the top of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MooredTop {
    /// A buoy at the surface.
    Buoy {
        /// The module.
        module: ModuleIx,
        /// Its hull.
        hull: BuoyHull,
    },
    /// A float below the surface.
    Float {
        /// Index into [`Line::floats`].
        float: usize,
        /// Buoyancy less weight, N.
        buoyancy_n: f64,
        /// Drag area, m2.
        drag_area_m2: f64,
        /// Its outer size; `None` where the plan does not say.
        form: Option<Form>,
    },
}

/// Hull of a buoy with straight sides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BuoyHull {
    /// Weight in air, N.
    pub weight_n: f64,
    /// Area at the water line, m2.
    pub waterplane_m2: f64,
    /// Draught at which it goes under, m.
    pub full_draught_m: f64,
    /// Drag area in the water at full draught, m2.
    pub cd_a_water_m2: f64,
    /// Drag area in the wind, m2; `None` when the plan does not say.
    pub cd_a_wind_m2: Option<f64>,
}

/// A length of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// The section that it is of.
    pub section: SectionIx,
    /// The length of rope; across it the drag of a rope that does not strum.
    pub rope: mooring::Rope,
    /// Drag coefficient across it while it strums; `None` when the plan does not say.
    pub strumming_drag: Option<f64>,
}

/// Something that hangs on a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hung {
    /// What.
    pub what: Thing,
    /// On the solver's line.
    pub body: mooring::Body,
    /// Its outer size; `None` where the plan does not say.
    pub form: Option<Form>,
}

/// What may hang on a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Thing {
    /// A module.
    Module(ModuleIx),
    /// Index into [`Line::floats`].
    Float(usize),
    /// Index into [`Line::weights`].
    Weight(usize),
}

impl Thing {
    /// Its typed path.
    #[must_use]
    pub fn path(self, line: &Line) -> String {
        match self {
            Thing::Module(m) => line.module_path(m),
            Thing::Float(f) => format!("float.{}", line.floats[f].id),
            Thing::Weight(w) => format!("weight.{}", line.weights[w].id),
        }
    }
}

impl MooredTop {
    /// Its typed path.
    #[must_use]
    pub fn path(self, line: &Line) -> String {
        match self {
            MooredTop::Buoy { module, .. } => line.module_path(module),
            MooredTop::Float { float, .. } => Thing::Float(float).path(line),
        }
    }
}

impl Moored {
    /// Whether a module hangs on it or holds its top.
    pub(crate) fn holds(&self, module: ModuleIx) -> bool {
        let is = |what: Thing| what == Thing::Module(module);
        self.hung.iter().any(|h| is(h.what))
            || matches!(self.top, MooredTop::Buoy { module: top, .. } if top == module)
    }

    /// Where a place of a section lies on it, m from the anchor with what is let in, by its length of rope from the section's lower end; `None` of a section that it lacks.
    pub(crate) fn at_m(&self, section: SectionIx, from_lower_m: f64) -> Option<f64> {
        let mut below_m = 0.0;
        let mut rope_m = 0.0;
        let mut found = None;
        for piece in &self.pieces {
            let length_m = piece.rope.length_m;
            // What is let in has no diameter, and counts in no length of rope.
            if piece.section == section && piece.rope.diameter_m > 0.0 {
                if from_lower_m <= rope_m + length_m + 1e-9 {
                    return Some(below_m + (from_lower_m - rope_m).max(0.0));
                }
                rope_m += length_m;
                found = Some(below_m + length_m);
            }
            below_m += length_m;
        }
        found
    }

    /// Unstretched length, m, with what is let in.
    #[must_use]
    pub fn length_m(&self) -> f64 {
        self.pieces.iter().map(|p| p.rope.length_m).sum()
    }
}

/// A line of which the shape cannot be worked out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotMoored {
    /// Its lowest section, a typed path.
    pub section: String,
    /// Index into [`Line::anchors`] of the one at which it ends; `None` of a line that ends at none.
    pub anchor: Option<usize>,
    /// What is missing or not followed here, each with its path.
    pub why: Vec<String>,
}

/// Every line of a plan that hangs on sections, by its lowest one; what the plan does not say of it leaves its shape unknown.
#[must_use]
pub fn moored(line: &Line) -> Vec<Result<Moored, NotMoored>> {
    let upper_end = |end: SectionEnd| line.sections.iter().filter(move |s| s.from == end).count();
    let lowest = (0..line.sections.len()).filter(|&s| match line.sections[s].to {
        SectionEnd::Anchor(_) => true,
        end => upper_end(end) == 0,
    });
    lowest.map(|s| from_section(line, s)).collect()
}

fn from_section(line: &Line, lowest: usize) -> Result<Moored, NotMoored> {
    let mut why = Vec::new();
    let mut gather = Gather {
        line,
        pieces: Vec::new(),
        hung: Vec::new(),
        why: &mut why,
    };
    let anchor = match line.sections[lowest].to {
        SectionEnd::Anchor(anchor) => Some(anchor),
        SectionEnd::Module(_) | SectionEnd::Float(_) => {
            gather.why.push(
                "it ends at no anchor, and a line that hangs free is not followed".to_owned(),
            );
            None
        }
    };
    let mut section = lowest;
    let mut seen = Vec::new();
    let top = loop {
        seen.push(section);
        gather.section(section);
        let end = line.sections[section].from;
        let mut above = (0..line.sections.len()).filter(|&s| line.sections[s].to == end);
        let next = above.next();
        if above.next().is_some() || line.sections.iter().filter(|s| s.from == end).count() > 1 {
            gather.why.push(format!(
                "several sections meet at {}, and a line that branches is not followed",
                end_path(line, end)
            ));
            break None;
        }
        match next {
            Some(next) if !seen.contains(&next) => {
                gather.joint(end);
                section = next;
            }
            Some(_) => {
                gather.why.push("its sections make a ring".to_owned());
                break None;
            }
            None => break gather.top(end),
        }
    };
    let (pieces, hung) = (gather.pieces, gather.hung);
    match (anchor, top) {
        (Some(anchor), Some(top)) if why.is_empty() => Ok(Moored {
            anchor,
            top,
            pieces,
            hung,
        }),
        _ => Err(NotMoored {
            section: format!("section.{}", line.sections[lowest].id),
            anchor,
            why,
        }),
    }
}

/// The outer size of something, as far as the plan says it.
pub(super) fn form(line: &Line, what: Thing) -> Option<Form> {
    let cylinder = |of: plan::Outside| Form::Cylinder {
        diameter_m: of.diameter_m.si,
        length_m: of.length_m.si,
    };
    match what {
        Thing::Module(m) => {
            let housing = line.modules[m.0].housing.as_ref()?;
            housing.outside.map(cylinder)
        }
        Thing::Float(f) => {
            let diameter_m = line.floats[f].diameter_m?.si;
            Some(Form::Sphere { diameter_m })
        }
        Thing::Weight(w) => line.weights[w].outside.map(cylinder),
    }
}

fn end_path(line: &Line, end: SectionEnd) -> String {
    match end {
        SectionEnd::Module(m) => line.module_path(m),
        SectionEnd::Float(f) => Thing::Float(f).path(line),
        SectionEnd::Anchor(a) => format!("anchor.{}", line.anchors[a].id),
    }
}

struct Gather<'a> {
    line: &'a Line,
    pieces: Vec<Piece>,
    hung: Vec<Hung>,
    why: &'a mut Vec<String>,
}

/// Something on a section before its weight is known.
struct Clamped {
    what: Thing,
    /// Length of rope from the section's lower end, m.
    from_lower_m: f64,
    weight_n: f64,
    drag_area_m2: f64,
    added_length_m: f64,
    form: Option<Form>,
}

impl Gather<'_> {
    /// Values that a thing must say; tells those that it does not.
    fn said<const N: usize>(
        &mut self,
        whose: &str,
        values: [(&'static str, Option<Q>); N],
    ) -> Option<[f64; N]> {
        let missing: Vec<&str> = values
            .iter()
            .filter(|(_, q)| q.is_none_or(|q| !q.si.is_finite()))
            .map(|(key, _)| *key)
            .collect();
        if missing.is_empty() {
            return Some(values.map(|(_, q)| q.map_or(f64::NAN, |q| q.si)));
        }
        self.why
            .push(format!("{whose} says nothing of {}", listed(&missing)));
        None
    }

    fn clamped(&mut self, what: Thing, from_lower_m: f64) -> Option<Clamped> {
        let path = what.path(self.line);
        let (weight_n, drag_area_m2, added_length_m) = match what {
            Thing::Module(m) => {
                let housing = self.line.modules[m.0].housing.as_ref();
                let [weight_n, cd_a_m2] = self.said(
                    &format!("the housing of {path}"),
                    [
                        ("weight_in_water", housing.and_then(|h| h.weight_in_water_n)),
                        ("cd_a", housing.and_then(|h| h.cd_a_m2)),
                    ],
                )?;
                let added = housing.and_then(|h| h.added_length_m);
                (weight_n, cd_a_m2, added.map_or(0.0, |q| q.si))
            }
            Thing::Float(f) => {
                let float = &self.line.floats[f];
                let values = [("buoyancy", float.buoyancy_n), ("cd_a", float.cd_a_m2)];
                let [buoyancy_n, cd_a_m2] = self.said(&path, values)?;
                (-buoyancy_n, cd_a_m2, 0.0)
            }
            Thing::Weight(w) => {
                let weight = &self.line.weights[w];
                let values = [
                    ("weight_in_water", weight.weight_in_water_n),
                    ("cd_a", weight.cd_a_m2),
                ];
                let [weight_n, cd_a_m2] = self.said(&path, values)?;
                (weight_n, cd_a_m2, 0.0)
            }
        };
        Some(Clamped {
            what,
            from_lower_m,
            weight_n,
            drag_area_m2,
            added_length_m,
            form: form(self.line, what),
        })
    }

    /// Adds a section on what is there already, with all that is clamped to it.
    fn section(&mut self, ix: usize) {
        let line = self.line;
        let section = &line.sections[ix];
        let path = format!("section.{}", section.id);
        let whole_m = section.length_m.si;
        let from_lower_m = |position: Position| match position {
            Position::FromTop { section, length_m } if section.0 == ix => {
                Some(whole_m - length_m.si)
            }
            Position::FromAnchor { section, length_m } if section.0 == ix => Some(length_m.si),
            _ => None,
        };
        let modules = line
            .modules
            .iter()
            .enumerate()
            .map(|(m, module)| (Thing::Module(ModuleIx(m)), Some(module.position)));
        let floats = line.floats.iter().enumerate();
        let floats = floats.map(|(f, float)| (Thing::Float(f), float.position));
        let weights = line.weights.iter().enumerate();
        let weights = weights.map(|(w, weight)| (Thing::Weight(w), Some(weight.position)));
        let mut places: Vec<(Thing, f64)> = modules
            .chain(floats)
            .chain(weights)
            .filter_map(|(what, position)| Some((what, from_lower_m(position?)?)))
            .collect();
        places.sort_by(|a, b| a.1.total_cmp(&b.1));
        let clamped: Vec<Clamped> = places
            .into_iter()
            .filter_map(|(what, at_m)| self.clamped(what, at_m))
            .collect();
        let Some(rope) = &section.rope else {
            self.why.push(format!("{path} says nothing of its rope"));
            return;
        };
        let Some((rope, strumming_drag)) = self.rope(&path, rope) else {
            return;
        };
        // Behind a fairing it does not strum.
        let faired = section.fairing == Some(true);
        let strumming_drag = strumming_drag.or(faired.then_some(rope.normal_drag));
        let mut done_m = 0.0;
        for one in clamped {
            let bare_m = one.from_lower_m - done_m;
            if one.added_length_m > 0.0 {
                // What is let in is a stiff piece that bears its own weight; its drag acts at its middle.
                self.piece(ix, rope, bare_m, strumming_drag);
                done_m = one.from_lower_m;
                let stiff = mooring::Rope {
                    length_m: 0.0,
                    diameter_m: 0.0,
                    weight_n_m: one.weight_n / one.added_length_m,
                    stiffness_n: None,
                    normal_drag: 0.0,
                    tangential_drag: 0.0,
                };
                self.hang(&one, 0.5 * one.added_length_m, 0.0);
                self.piece(ix, stiff, one.added_length_m, Some(0.0));
            } else {
                self.hang(&one, bare_m, one.weight_n);
            }
        }
        self.piece(ix, rope, whole_m - done_m, strumming_drag);
    }

    fn piece(
        &mut self,
        section: usize,
        rope: mooring::Rope,
        length_m: f64,
        strumming_drag: Option<f64>,
    ) {
        if length_m > 0.0 {
            self.pieces.push(Piece {
                section: SectionIx(section),
                rope: mooring::Rope { length_m, ..rope },
                strumming_drag,
            });
        }
    }

    /// Hangs something so far above the last piece.
    fn hang(&mut self, one: &Clamped, above_m: f64, weight_n: f64) {
        let base_m: f64 = self.pieces.iter().map(|p| p.rope.length_m).sum();
        self.hung.push(Hung {
            what: one.what,
            body: mooring::Body {
                at_m: base_m + above_m,
                weight_n,
                drag_area_m2: one.drag_area_m2,
            },
            form: one.form,
        });
    }

    fn rope(&mut self, path: &str, rope: &Rope) -> Option<(mooring::Rope, Option<f64>)> {
        let [
            diameter_m,
            weight_n_m,
            stiffness_n,
            normal_drag,
            tangential_drag,
        ] = self.said(
            &format!("the rope of {path}"),
            [
                ("diameter", rope.diameter_m),
                ("weight_in_water", rope.weight_in_water_n_m),
                ("stiffness", rope.stiffness_n),
                ("normal_drag", rope.normal_drag),
                ("tangential_drag", rope.tangential_drag),
            ],
        )?;
        let found = mooring::Rope {
            length_m: 0.0,
            diameter_m,
            weight_n_m,
            stiffness_n: Some(stiffness_n),
            normal_drag,
            tangential_drag,
        };
        Some((found, rope.strumming_drag.map(|q| q.si)))
    }

    /// What joins two sections hangs there, unless its position puts it on one of them.
    fn joint(&mut self, end: SectionEnd) {
        let what = match end {
            SectionEnd::Module(m) => Thing::Module(m),
            SectionEnd::Float(f) => Thing::Float(f),
            SectionEnd::Anchor(_) => {
                self.why.push(format!(
                    "{} is amid the line, and only the lower end of a line lies at an anchor",
                    end_path(self.line, end)
                ));
                return;
            }
        };
        let placed = match what {
            Thing::Module(m) => match self.line.modules[m.0].position {
                Position::FromTop { section, .. } | Position::FromAnchor { section, .. } => {
                    Some(section.0)
                }
                Position::Depth(_) => None,
            },
            Thing::Float(_) | Thing::Weight(_) => None,
        };
        // A module that joins two sections may be written as clamped to the end of either; it hangs there once.
        if placed.is_some() {
            return;
        }
        if let Some(one) = self.clamped(what, 0.0) {
            if one.added_length_m > 0.0 {
                self.why.push(format!(
                    "{} joins two sections and is let in: write its length into one of them",
                    what.path(self.line)
                ));
            }
            self.hang(&one, 0.0, one.weight_n);
        }
    }

    fn top(&mut self, end: SectionEnd) -> Option<MooredTop> {
        match end {
            SectionEnd::Anchor(_) => {
                self.why
                    .push("both its ends are at anchors, and nothing holds it up".to_owned());
                None
            }
            SectionEnd::Float(float) => {
                let held = &self.line.floats[float];
                let values = [("buoyancy", held.buoyancy_n), ("cd_a", held.cd_a_m2)];
                let path = Thing::Float(float).path(self.line);
                let [buoyancy_n, drag_area_m2] = self.said(&path, values)?;
                Some(MooredTop::Float {
                    float,
                    buoyancy_n,
                    drag_area_m2,
                    form: form(self.line, Thing::Float(float)),
                })
            }
            SectionEnd::Module(module) => {
                let held = &self.line.modules[module.0];
                let path = self.line.module_path(module);
                let at_the_surface = matches!(held.position, Position::Depth(q) if q.si == 0.0);
                let Some(hull) = held.hull.as_ref() else {
                    self.why.push(format!(
                        "{path} holds its top and says nothing of its hull (weight, waterplane, full_draught, cd_a_water, and cd_a_wind where a case has wind); a module that hangs from a pier or a vessel is not followed"
                    ));
                    return None;
                };
                if !at_the_surface {
                    self.why
                        .push(format!("{path} has a hull and is not at the surface"));
                }
                self.hull(&path, hull)
                    .filter(|_| at_the_surface)
                    .map(|hull| MooredTop::Buoy { module, hull })
            }
        }
    }

    fn hull(&mut self, path: &str, hull: &Hull) -> Option<BuoyHull> {
        let [weight_n, waterplane_m2, full_draught_m, cd_a_water_m2] = self.said(
            &format!("the hull of {path}"),
            [
                ("weight", hull.weight_n),
                ("waterplane", hull.waterplane_m2),
                ("full_draught", hull.full_draught_m),
                ("cd_a_water", hull.cd_a_water_m2),
            ],
        )?;
        Some(BuoyHull {
            weight_n,
            waterplane_m2,
            full_draught_m,
            cd_a_water_m2,
            cd_a_wind_m2: hull.cd_a_wind_m2.map(|q| q.si),
        })
    }
}

/// Words with commas, the last with "and".
fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
