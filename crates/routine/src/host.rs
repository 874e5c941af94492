//! The functions that a module gives its routine. Each notes a deed; what is wrong with it is told at the call.

use std::cell::RefCell;
use std::rc::Rc;

use rhai::{Dynamic, Engine, EvalAltResult, FLOAT, INT, Map, NativeCallContext, Position};

use crate::binding::{Binding, Bound, FieldKind, Shape};
use crate::deed::{Deed, Held, Place};
use crate::language::{LIMITS, runtime};

/// Functions of a module, with what each is called with.
pub(crate) const HOST: &[(&str, &str)] = &[
    (
        "publish",
        "publish(topic) or publish(topic, #{ field: value })",
    ),
    (
        "send_up",
        "send_up(uplink, topic) or send_up(uplink, topic, #{ field: value })",
    ),
    ("ask", "ask(request) or ask(request, #{ field: value })"),
    ("answer", "answer() or answer(#{ field: value })"),
    (
        "switch_on",
        "switch_on(output) or switch_on(output, seconds)",
    ),
    (
        "switch_off",
        "switch_off(output) or switch_off(output, seconds)",
    ),
    ("enter", "enter(state, seconds)"),
    (
        "set",
        "set(detector, #{ threshold: dB, hold_off: seconds })",
    ),
    ("log", "log(text)"),
    ("now", "now()"),
];

/// A thing that a name of the routine stands for, by its number in the binding.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Name(pub(crate) usize);

/// What one run does.
#[derive(Debug, Default)]
pub(crate) struct Doing {
    pub(crate) deeds: Vec<Deed>,
    /// Where each of them stands in the text.
    pub(crate) places: Vec<Place>,
    /// The call that is under way.
    pub(crate) at: Position,
    pub(crate) now_ns: Option<i64>,
    /// Whether a question started the run.
    pub(crate) asked: bool,
}

impl Doing {
    fn note(&mut self, deed: Deed) -> Done {
        if self.deeds.len() >= LIMITS.deeds {
            return Err(runtime(format!(
                "it does more than {} things in one run",
                LIMITS.deeds
            )));
        }
        self.deeds.push(deed);
        self.places.push(Place {
            line: self.at.line(),
            column: self.at.position(),
        });
        Ok(())
    }
}

type Done = Result<(), Box<EvalAltResult>>;

#[derive(Clone)]
struct Host {
    binding: Rc<Binding>,
    doing: Rc<RefCell<Doing>>,
}

pub(crate) fn register(engine: &mut Engine, binding: &Rc<Binding>, doing: &Rc<RefCell<Doing>>) {
    engine.register_type_with_name::<Name>("name");
    let host = Host {
        binding: Rc::clone(binding),
        doing: Rc::clone(doing),
    };
    let h = host.clone();
    engine.register_fn("publish", move |ctx: NativeCallContext, topic: Name| {
        h.at(&ctx).publish(topic, None)
    });
    let h = host.clone();
    engine.register_fn(
        "publish",
        move |ctx: NativeCallContext, topic: Name, values: Map| {
            h.at(&ctx).publish(topic, Some(&values))
        },
    );
    let h = host.clone();
    engine.register_fn(
        "send_up",
        move |ctx: NativeCallContext, uplink: Name, topic: Name| {
            h.at(&ctx).send_up(uplink, topic, None)
        },
    );
    let h = host.clone();
    engine.register_fn(
        "send_up",
        move |ctx: NativeCallContext, uplink: Name, topic: Name, values: Map| {
            h.at(&ctx).send_up(uplink, topic, Some(&values))
        },
    );
    let h = host.clone();
    engine.register_fn("ask", move |ctx: NativeCallContext, request: Name| {
        h.at(&ctx).ask(request, None)
    });
    let h = host.clone();
    engine.register_fn(
        "ask",
        move |ctx: NativeCallContext, request: Name, values: Map| {
            h.at(&ctx).ask(request, Some(&values))
        },
    );
    let h = host.clone();
    engine.register_fn("answer", move |ctx: NativeCallContext| {
        h.at(&ctx).answer(None)
    });
    let h = host.clone();
    engine.register_fn("answer", move |ctx: NativeCallContext, values: Map| {
        h.at(&ctx).answer(Some(&values))
    });
    for (word, on) in [("switch_on", true), ("switch_off", false)] {
        let h = host.clone();
        engine.register_fn(word, move |ctx: NativeCallContext, output: Name| {
            h.at(&ctx).switch(output, on, None)
        });
        let h = host.clone();
        engine.register_fn(
            word,
            move |ctx: NativeCallContext, output: Name, for_s: FLOAT| {
                h.at(&ctx).switch(output, on, Some(for_s))
            },
        );
        let h = host.clone();
        engine.register_fn(
            word,
            move |ctx: NativeCallContext, output: Name, for_s: INT| {
                h.at(&ctx).switch(output, on, Some(for_s as FLOAT))
            },
        );
    }
    let h = host.clone();
    engine.register_fn(
        "enter",
        move |ctx: NativeCallContext, state: Name, for_s: FLOAT| h.at(&ctx).enter(state, for_s),
    );
    let h = host.clone();
    engine.register_fn(
        "enter",
        move |ctx: NativeCallContext, state: Name, for_s: INT| {
            h.at(&ctx).enter(state, for_s as FLOAT)
        },
    );
    let h = host.clone();
    engine.register_fn(
        "set",
        move |ctx: NativeCallContext, detector: Name, to: Map| h.at(&ctx).set(detector, &to),
    );
    let h = host.clone();
    engine.register_fn("log", move |ctx: NativeCallContext, text: &str| {
        h.at(&ctx).log(text)
    });
    engine.register_fn("now", move || host.now());
}

impl Host {
    /// What it does next stands at this call.
    fn at(&self, ctx: &NativeCallContext) -> &Host {
        self.doing.borrow_mut().at = ctx.call_position();
        self
    }

    fn note(&self, deed: Deed) -> Done {
        self.doing.borrow_mut().note(deed)
    }

    /// The thing that a name stands for must be of the right kind.
    fn is(&self, name: Name, wanted: &Bound) -> Done {
        let (word, bound) = &self.binding.names[name.0];
        if std::mem::discriminant(bound) == std::mem::discriminant(wanted) {
            return Ok(());
        }
        Err(runtime(format!(
            "`{word}` is {}, not {}",
            bound.what(),
            wanted.what()
        )))
    }

    fn topic(&self, name: Name) -> Result<&Shape, Box<EvalAltResult>> {
        match &self.binding.names[name.0] {
            (_, Bound::Topic(shape)) => Ok(shape),
            (word, bound) => Err(runtime(format!(
                "`{word}` is {}, not a topic",
                bound.what()
            ))),
        }
    }

    fn publish(&self, topic: Name, values: Option<&Map>) -> Done {
        let values = values
            .map(|values| filled(self.topic(topic)?, "topic", values))
            .transpose()?;
        self.topic(topic)?;
        self.note(Deed::Publish {
            topic: topic.0,
            values,
        })
    }

    fn ask(&self, request: Name, values: Option<&Map>) -> Done {
        let (word, bound) = &self.binding.names[request.0];
        let Bound::Request(shape) = bound else {
            return Err(runtime(format!(
                "`{word}` is {}, not a request",
                bound.what()
            )));
        };
        let values = said(shape, "question", values)?;
        self.note(Deed::Ask {
            request: request.0,
            values,
        })
    }

    fn answer(&self, values: Option<&Map>) -> Done {
        answer(&self.binding, &self.doing, values)
    }

    fn send_up(&self, uplink: Name, topic: Name, values: Option<&Map>) -> Done {
        self.is(uplink, &Bound::Uplink)?;
        let values = values
            .map(|values| filled(self.topic(topic)?, "topic", values))
            .transpose()?;
        self.topic(topic)?;
        self.note(Deed::SendUp {
            uplink: uplink.0,
            topic: topic.0,
            values,
        })
    }

    fn switch(&self, output: Name, on: bool, for_s: Option<FLOAT>) -> Done {
        self.is(output, &Bound::Output)?;
        for_s.map(time).transpose()?;
        self.note(Deed::Switch {
            output: output.0,
            on,
            for_s,
        })
    }

    fn enter(&self, state: Name, for_s: FLOAT) -> Done {
        self.is(state, &Bound::State)?;
        time(for_s)?;
        self.note(Deed::Enter {
            state: state.0,
            for_s,
        })
    }

    fn set(&self, detector: Name, to: &Map) -> Done {
        let (word, bound) = &self.binding.names[detector.0];
        let Bound::Detector(ranges) = bound else {
            return Err(runtime(format!(
                "`{word}` is {}, not a detector",
                bound.what()
            )));
        };
        if let Some(key) = to.keys().find(|k| !SETTINGS.contains(&k.as_str())) {
            return Err(runtime(format!(
                "a detector has no setting `{key}`; it has: {}",
                SETTINGS.join(", ")
            )));
        }
        let [threshold, hold_off] = SETTINGS;
        let threshold_db = within(word, threshold, "dB", ranges.threshold_db, to)?;
        let hold_off_s = within(word, hold_off, "s", ranges.hold_off_s, to)?;
        if threshold_db.is_none() && hold_off_s.is_none() {
            return Err(runtime(format!("it does not say to what it sets `{word}`")));
        }
        self.note(Deed::Set {
            detector: detector.0,
            threshold_db,
            hold_off_s,
        })
    }

    fn log(&self, text: &str) -> Done {
        let characters = text.chars().count();
        if characters > LIMITS.log_characters {
            return Err(runtime(format!(
                "a line of the log has at most {} characters, and this has {characters}",
                LIMITS.log_characters
            )));
        }
        self.note(Deed::Log {
            text: text.to_owned(),
        })
    }

    fn now(&self) -> Result<INT, Box<EvalAltResult>> {
        self.doing.borrow().now_ns.ok_or_else(|| {
            runtime(
                "nothing says when the rehearsal begins: write `start` in the cue sheet or the deployment"
                    .to_owned(),
            )
        })
    }
}

/// What a detector can be set to.
pub(crate) const SETTINGS: [&str; 2] = ["threshold", "hold_off"];

/// A setting, held against what the plan allows.
fn within(
    of: &str,
    key: &str,
    unit: &str,
    range: Option<(FLOAT, FLOAT)>,
    to: &Map,
) -> Result<Option<FLOAT>, Box<EvalAltResult>> {
    let Some(given) = to.get(key).filter(|v| !v.is_unit()) else {
        return Ok(None);
    };
    let value = match (given.as_float(), given.as_int()) {
        (Ok(x), _) => x,
        (_, Ok(whole)) => whole as FLOAT,
        _ => {
            return Err(runtime(format!(
                "`{key}` is a number in {unit}, not {}",
                what(given)
            )));
        }
    };
    match range {
        None => Err(runtime(format!("`{key}` of `{of}` is not settable"))),
        Some((low, high)) if (low..=high).contains(&value) => Ok(Some(value)),
        Some((low, high)) => Err(runtime(format!(
            "`{key}` of `{of}` may be set from {low} to {high} {unit}, not to {value}"
        ))),
    }
}

/// Answers the question that started the run, once.
pub(crate) fn answer(binding: &Binding, doing: &RefCell<Doing>, values: Option<&Map>) -> Done {
    let mut doing = doing.borrow_mut();
    let Some(shape) = binding.answer.as_ref().filter(|_| doing.asked) else {
        return Err(runtime(
            "only what a question started answers one: `when_asked`".to_owned(),
        ));
    };
    if doing.deeds.iter().any(|d| matches!(d, Deed::Answer { .. })) {
        return Err(runtime(
            "it answers its question a second time: with `answer` or with the map that `when_asked` gives back, not with both"
                .to_owned(),
        ));
    }
    let values = said(shape, "answer", values)?;
    doing.note(Deed::Answer { values })
}

/// What `when_asked` gives back, if it is no map: nothing, or, where the question is answered already, whatever it is.
pub(crate) fn no_answer(binding: &Binding, doing: &RefCell<Doing>, returned: &Dynamic) -> Done {
    let answered = (doing.borrow().deeds.iter()).any(|d| matches!(d, Deed::Answer { .. }));
    if returned.is_unit() || answered {
        return Ok(());
    }
    let wanted = match &binding.answer {
        Some(shape) if !shape.fields.is_empty() => {
            let fields: Vec<&str> = shape.fields.iter().map(|f| f.name.as_str()).collect();
            format!("a map of the fields of its answer ({})", fields.join(", "))
        }
        _ => "nothing, as its answer has no fields: `answer()` sends it".to_owned(),
    };
    let came = what(returned);
    Err(runtime(format!(
        "`when_asked` gives back {came}, and has to give back {wanted}"
    )))
}

/// A time that something lasts: above zero, and no more than 30 years.
fn time(seconds: FLOAT) -> Done {
    const LONGEST_S: FLOAT = 1e9;
    if seconds > 0.0 && seconds <= LONGEST_S {
        return Ok(());
    }
    Err(runtime(format!(
        "a time is more than 0 s and at most {LONGEST_S} s, not {seconds}"
    )))
}

/// The values of a question or an answer, which goes without them only where it has no fields.
fn said(
    shape: &Shape,
    kind: &'static str,
    values: Option<&Map>,
) -> Result<Option<Vec<Held>>, Box<EvalAltResult>> {
    match values {
        Some(values) => filled(shape, kind, values).map(Some),
        None => match shape.left_empty(kind) {
            Some(why) => Err(runtime(why)),
            None => Ok(None),
        },
    }
}

/// The values of the fields of a topic, a question or an answer, in their order.
fn filled(
    shape: &Shape,
    kind: &'static str,
    values: &Map,
) -> Result<Vec<Held>, Box<EvalAltResult>> {
    let what = shape.what(kind);
    if shape.fields.is_empty() {
        return Err(runtime(format!(
            "{what} gives a size only: it has no fields to fill"
        )));
    }
    for key in values.keys() {
        if !shape.fields.iter().any(|f| f.name == key.as_str()) {
            let all: Vec<&str> = shape.fields.iter().map(|f| f.name.as_str()).collect();
            return Err(runtime(format!(
                "{what} has no field `{key}`; its fields are: {}",
                all.join(", ")
            )));
        }
    }
    let fields = shape.fields.iter();
    fields
        .map(|field| {
            let given = values.get(field.name.as_str()).filter(|v| !v.is_unit());
            held(&field.kind, given).map_err(|why| {
                runtime(format!(
                    "the field `{}` of {} {why}",
                    field.name, shape.name
                ))
            })
        })
        .collect()
}

fn held(kind: &FieldKind, given: Option<&Dynamic>) -> Result<Held, String> {
    let Some(given) = given else {
        return match kind {
            FieldKind::Number => Ok(Held::NoData),
            FieldKind::Choice(_) | FieldKind::Flag | FieldKind::Time => {
                Err("is given no value, and only numbers have a code for no data".to_owned())
            }
        };
    };
    match kind {
        FieldKind::Number => match (given.as_float(), given.as_int()) {
            (Ok(x), _) if x.is_nan() => {
                Err("is given what is not a number; leave it out for no data".to_owned())
            }
            (Ok(x), _) => Ok(Held::Number(x)),
            (_, Ok(whole)) => Ok(Held::Number(whole as f64)),
            _ => Err(format!("holds a number, not {}", what(given))),
        },
        FieldKind::Choice(list) => {
            let text = given.clone().into_immutable_string();
            let text =
                text.map_err(|_| format!("holds a text of its list, not {}", what(given)))?;
            let choice = list.iter().position(|v| *v == text.as_str());
            choice
                .and_then(|choice| u32::try_from(choice).ok())
                .map(Held::Choice)
                .ok_or_else(|| format!("has no value \"{text}\"; it has: {}", list.join(", ")))
        }
        FieldKind::Flag => given
            .as_bool()
            .map(Held::Flag)
            .map_err(|_| format!("holds true or false, not {}", what(given))),
        FieldKind::Time => given.as_int().map(Held::Time).map_err(|_| {
            format!(
                "holds an instant in whole nanoseconds, as now() gives it, not {}",
                what(given)
            )
        }),
    }
}

fn what(value: &Dynamic) -> &'static str {
    if value.is_int() {
        "a whole number"
    } else if value.is_float() {
        "a decimal number"
    } else if value.is_bool() {
        "true or false"
    } else if value.is_string() {
        "a text"
    } else if value.is_map() {
        "a map"
    } else if value.is_array() {
        "an array"
    } else {
        "this kind of value"
    }
}
