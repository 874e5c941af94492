//! JSON Schema (draft 2020-12) of the plan and the cue sheet, made from the field tables.

use std::collections::BTreeMap;

use quantity::{Dimension, LevelKind, Sign};
use serde_json::{Map, Value, json};

use crate::catalogue::{BATCH, SHARED, SHARED_DOC};
use crate::field::{
    Bounds, Field, NOT_NEGATIVE, Need, POSITIVE, Scale, Section, Shape, amount_example,
};
use crate::tables::{CUE_SHEET, PART_KINDS, PLAN, REQUIREMENT, REQUIREMENTS};

const ID: &str = "^[a-z][a-z0-9-]*$";

/// The schema of a plan file.
#[must_use]
pub fn plan_schema() -> Value {
    whole("Soundline plan, format 1", &PLAN)
}

/// The schema of a cue sheet.
#[must_use]
pub fn cues_schema() -> Value {
    whole("Soundline cue sheet, format 1", &CUE_SHEET)
}

/// Forms of texts by their name, to which the schema refers.
type Forms = BTreeMap<String, Value>;

fn whole(title: &str, root: &'static Section) -> Value {
    let mut forms = Forms::new();
    let mut schema = section(root, false, &mut forms);
    let object = schema.as_object_mut().expect("a section becomes an object");
    object.insert("$defs".to_owned(), json!(forms));
    object.insert(
        "$schema".to_owned(),
        json!("https://json-schema.org/draft/2020-12/schema"),
    );
    object.insert("title".to_owned(), json!(title));
    schema
}

/// `partial`: a catalogue part may fill what is not written, here or in a table around it.
fn section(s: &'static Section, partial: bool, forms: &mut Forms) -> Value {
    let inner = partial || s.takes_a_part();
    let properties: Map<String, Value> = s
        .fields
        .iter()
        .map(|f| (f.key.to_owned(), field(f, inner, forms)))
        .collect();
    let needed: Vec<&str> = s
        .fields
        .iter()
        .filter(|f| f.need == Need::Required)
        .map(|f| f.key)
        .collect();
    let mut object = json!({
        "type": "object",
        "description": s.doc,
        "additionalProperties": false,
        "properties": properties,
    });
    if !needed.is_empty() && !partial {
        if inner {
            object["anyOf"] = json!([{ "required": ["part"] }, { "required": needed }]);
        } else {
            object["required"] = json!(needed);
        }
    }
    if s.name == REQUIREMENT.name {
        object["allOf"] = json!(limits_of_kinds(forms));
    }
    object
}

/// Of the kinds of requirements whose limit is a sum of money or a rate of events: that it has that form. Their kind is told by how a limit of
/// theirs is written.
fn limits_of_kinds(forms: &mut Forms) -> Vec<Value> {
    let mut kinds = Vec::new();
    for kind in REQUIREMENTS {
        let limit = if quantity::parse_money(kind.limit).is_ok() {
            money(kind.limit, forms)
        } else if quantity::parse_event_rate(kind.limit).is_ok() {
            event_rate(&[kind.limit], forms)
        } else {
            continue;
        };
        kinds.push(json!({
            "if": { "properties": { "that": { "const": kind.word } }, "required": ["that"] },
            "then": { "properties": { "at_most": limit } },
        }));
    }
    kinds
}

fn field(f: &'static Field, partial: bool, forms: &mut Forms) -> Value {
    let mut value = shape(&f.shape, partial, forms);
    if let Some(object) = value.as_object_mut() {
        object.insert("description".to_owned(), json!(f.doc));
    }
    value
}

fn number(bounds: Bounds) -> Value {
    let mut value = json!({ "type": "number" });
    if bounds.least.is_finite() && bounds.least != f64::MIN_POSITIVE {
        value["minimum"] = json!(bounds.least);
    }
    if bounds.least == f64::MIN_POSITIVE {
        value["exclusiveMinimum"] = json!(0);
    }
    if bounds.most.is_finite() {
        value["maximum"] = json!(bounds.most);
    }
    value
}

/// A number, or a text that holds one with its spread.
fn figure(scale: Scale, bounds: Bounds, forms: &mut Forms) -> Value {
    let sign = bounds.sign();
    let (name, pattern) = match scale {
        Scale::Plain => ("number", quantity::number_pattern(sign)),
        Scale::Share => ("ratio", quantity::amount_pattern(Dimension::Ratio, sign)),
    };
    let name = format!("{name}{}", ending(sign));
    let mut value = quantity(json!([scale.example(bounds).1]), &name, pattern, forms);
    let of_number = number(bounds);
    let own = value.as_object_mut().expect("a quantity is an object");
    own.extend(of_number.as_object().cloned().unwrap_or_default());
    value["type"] = json!(["number", "string"]);
    value
}

fn list(items: Value, least: usize, most: usize) -> Value {
    let mut value = json!({ "type": "array", "items": items, "minItems": least });
    if most != usize::MAX {
        value["maxItems"] = json!(most);
    }
    value
}

fn keyed(values: Value, pattern: Option<&str>) -> Value {
    let mut value = json!({ "type": "object", "additionalProperties": values });
    if let Some(pattern) = pattern {
        value["propertyNames"] = json!({ "pattern": pattern });
    }
    value
}

fn text(examples: Value) -> Value {
    json!({ "type": "string", "minLength": 1, "examples": examples })
}

/// A text of one of the forms of quantities.
fn quantity(examples: Value, name: &str, pattern: String, forms: &mut Forms) -> Value {
    let name = name.replace(' ', "-");
    let mut value = text(examples);
    value["allOf"] = json!([{ "$ref": format!("#/$defs/{name}") }]);
    forms.insert(name, json!({ "pattern": pattern }));
    value
}

fn amount(dimension: Dimension, bounds: Bounds, forms: &mut Forms) -> Value {
    let sign = bounds.sign();
    quantity(
        json!([amount_example(dimension, bounds)]),
        &format!("{}{}", dimension.name(), ending(sign)),
        quantity::amount_pattern(dimension, sign),
        forms,
    )
}

fn level(kinds: &[LevelKind], bounds: Bounds, forms: &mut Forms) -> Value {
    let sign = bounds.sign();
    let names: Vec<&str> = kinds.iter().map(|kind| kind.name()).collect();
    let patterns: Vec<String> = kinds
        .iter()
        .map(|kind| quantity::level_pattern(*kind, sign))
        .collect();
    quantity(
        json!(kinds.iter().map(|k| k.example()).collect::<Vec<_>>()),
        &format!("{}{}", names.join(" or "), ending(sign)),
        patterns.join("|"),
        forms,
    )
}

fn load(forms: &mut Forms) -> Value {
    let of = |dimension, bounds: Bounds| quantity::amount_pattern(dimension, bounds.sign());
    let patterns = [
        of(Dimension::Power, NOT_NEGATIVE),
        of(Dimension::Current, NOT_NEGATIVE),
        of(Dimension::Resistance, POSITIVE),
    ];
    let examples = json!(["0.55 W", "20 mA", "240 ohm"]);
    quantity(examples, "load", patterns.join("|"), forms)
}

fn money(example: &str, forms: &mut Forms) -> Value {
    let pattern = quantity::money_pattern();
    quantity(json!([example]), "money", pattern, forms)
}

fn event_rate(examples: &[&str], forms: &mut Forms) -> Value {
    let pattern = quantity::event_rate_pattern();
    quantity(json!(examples), "rate of events", pattern, forms)
}

/// What the name of a form ends in.
fn ending(sign: Sign) -> &'static str {
    match sign {
        Sign::Any => "",
        Sign::NotNegative => " of zero or more",
        Sign::Positive => " above zero",
    }
}

fn shape(of: &Shape, partial: bool, forms: &mut Forms) -> Value {
    match of {
        Shape::Amount(dimension, bounds) => amount(*dimension, *bounds, forms),
        Shape::Amounts(dimension, bounds, least, most) => {
            list(amount(*dimension, *bounds, forms), *least, *most)
        }
        Shape::Number(bounds) => number(*bounds),
        Shape::Figure(scale, bounds) => figure(*scale, *bounds, forms),
        Shape::Figures(scale, bounds, least, most) => {
            list(figure(*scale, *bounds, forms), *least, *most)
        }
        Shape::Count(least, most) => {
            json!({ "type": "integer", "minimum": least, "maximum": most })
        }
        Shape::Flag => json!({ "type": "boolean" }),
        Shape::Text => json!({ "type": "string", "minLength": 1 }),
        Shape::Texts => list(json!({ "type": "string", "minLength": 1 }), 1, usize::MAX),
        Shape::Choice(words) => json!({ "enum": words }),
        Shape::Level(kinds, bounds) => level(kinds, *bounds, forms),
        Shape::Conductor => quantity(
            json!(["1.0 mm2 class 5", "18 AWG"]),
            "conductor",
            quantity::conductor_pattern(),
            forms,
        ),
        Shape::Money => money("0.12 EUR", forms),
        Shape::EventRate => event_rate(&["6 per hour", "300 per 30 d"], forms),
        // TOML dates reach a JSON Schema validator as text or as an object of its own; both are let through.
        Shape::Date => {
            json!({ "type": ["string", "object"], "examples": ["2027-03-15", "2027-03-15T06:30:00Z"] })
        }
        Shape::Reference(kinds) => {
            text(json!(kinds.iter().map(|k| k.example()).collect::<Vec<_>>()))
        }
        Shape::References(kinds, least) => list(
            text(json!(kinds.iter().map(|k| k.example()).collect::<Vec<_>>())),
            *least,
            usize::MAX,
        ),
        Shape::Load => load(forms),
        Shape::Topic => text(json!(["alert/call"])),
        Shape::Filter => text(json!(["alert/#"])),
        Shape::Content => keyed(json!({ "type": ["number", "string", "boolean"] }), None),
        Shape::Limit => json!({ "type": ["string", "integer"] }),
        Shape::Table(s) => section(s, partial, forms),
        Shape::Tables(s) => list(section(s, partial, forms), 1, usize::MAX),
        Shape::Keyed(s) => keyed(section(s, partial, forms), Some(ID)),
        Shape::KeyedTopics(s) => keyed(section(s, partial, forms), Some("^[^+#]+$")),
        Shape::KeyedLoads => keyed(shape(&Shape::Load, partial, forms), Some(ID)),
        Shape::Parts => keyed(parts(forms), Some(ID)),
    }
}

fn parts(forms: &mut Forms) -> Value {
    let kinds: Vec<Value> = PART_KINDS
        .iter()
        .map(|s| {
            let mut value = section(s, true, forms);
            let properties = value["properties"]
                .as_object_mut()
                .expect("a section has properties");
            // A part is not built on another part.
            properties.remove("part");
            properties.insert("is".to_owned(), json!({ "const": s.part }));
            let shared = json!({ "const": BATCH, "description": SHARED_DOC });
            properties.insert(SHARED.to_owned(), shared);
            value["required"] = json!(["is"]);
            value
        })
        .collect();
    json!({ "oneOf": kinds })
}

#[cfg(test)]
mod tests;
