//! What the server answers to, as OpenAPI 3.1: the table from which the routes are made too.

use beside::PROGRAM;
use serde_json::{Map, Value, json};

use crate::document::KINDS;
use crate::jobs;

/// A path and what it takes.
pub(crate) struct PathTold {
    pub(crate) path: &'static str,
    pub(crate) operations: &'static [Operation],
}

/// A method on a path.
pub(crate) struct Operation {
    pub(crate) method: &'static str,
    /// What it does.
    says: &'static str,
    /// Keys of the query: name, JSON type, whether it must be given.
    query: &'static [(&'static str, &'static str, bool)],
    /// Keys of the body, likewise; empty without one.
    body: &'static [(&'static str, &'static str, bool)],
    /// Keys of the object in the body, by its key in it.
    within: &'static [(&'static str, &'static str)],
    answer: Told,
}

/// What comes back where all is well.
enum Told {
    /// JSON with these keys at least.
    Json(&'static [&'static str]),
    /// The same with status 202.
    Accepted(&'static [&'static str]),
    /// Server-sent events of these names.
    Events(&'static [&'static str]),
    /// Something else, of this kind.
    Bytes(&'static str),
}

const fn get(says: &'static str, answer: Told) -> Operation {
    Operation {
        method: "get",
        says,
        query: &[],
        body: &[],
        within: &[],
        answer,
    }
}

const fn with_body(
    method: &'static str,
    says: &'static str,
    body: &'static [(&'static str, &'static str, bool)],
    answer: Told,
) -> Operation {
    Operation {
        method,
        says,
        query: &[],
        body,
        within: &[],
        answer,
    }
}

const fn asks(
    says: &'static str,
    body: &'static [(&'static str, &'static str, bool)],
    within: &'static [(&'static str, &'static str)],
    answer: Told,
) -> Operation {
    Operation {
        within,
        ..with_body("post", says, body, answer)
    }
}

/// What may be asked of a document; each reads its own.
const OF_A_DOCUMENT: &[(&str, &str)] = &[
    ("supply", "string"),
    ("years", "integer"),
    ("seed", "integer"),
    ("contacts", "string"),
    ("longest_s", "number"),
    ("leak_ohm", "number"),
    ("sensors", "array"),
    ("range", "string"),
    ("month", "integer"),
    ("health", "boolean"),
    ("from", "string"),
    ("source_depth", "string"),
    ("out_to", "string"),
    ("to", "string"),
    ("frequency", "string"),
    ("picture", "boolean"),
    ("tier", "string"),
    ("evidence", "boolean"),
];

/// What may be asked of a job; each reads its own.
const OF_A_JOB: &[(&str, &str)] = &[
    ("cues", "string"),
    ("cue_text", "string"),
    ("no_evidence", "boolean"),
    ("requirement", "string"),
    ("draws", "integer"),
    ("seed", "integer"),
    ("years", "integer"),
    ("detector", "string"),
    ("call", "string"),
    ("calls", "integer"),
    ("alone_min", "integer"),
];

/// What may be said of a quay.
const OF_A_QUAY: &[(&str, &str)] = &[
    ("temperature_degc", "number"),
    ("meter_volts", "string"),
    ("meter_amps", "string"),
    ("meter_ohms", "string"),
    ("spread_wire_percent", "number"),
    ("spread_load_percent", "number"),
    ("spread_supply_percent", "number"),
    ("calibrator_level_db_re_1upa", "number"),
    ("calibrator_frequency_hz", "number"),
];

/// What is held over the line.
const HELD: &[(&str, &str)] = &[
    ("text", "string"),
    ("part", "string"),
    ("catalogue", "string"),
    ("name", "string"),
    ("silent", "boolean"),
    ("brings", "string"),
    ("speaks", "array"),
    ("at", "array"),
    ("cable", "string"),
    ("stub", "string"),
    ("without_years", "boolean"),
];

const fn asked(
    says: &'static str,
    query: &'static [(&'static str, &'static str, bool)],
    answer: Told,
) -> Operation {
    Operation {
        query,
        ..get(says, answer)
    }
}

/// Every route but the page itself.
pub(crate) const PATHS: &[PathTold] = &[
    PathTold {
        path: "/api/openapi.json",
        operations: &[get(
            "this document",
            Told::Json(&["openapi", "info", "paths"]),
        )],
    },
    PathTold {
        path: "/api/session",
        operations: &[get(
            "the plan as it stands on the disk, what lies beside it, the schemas and the limits of this server",
            Told::Json(&[
                "format",
                "program",
                "version",
                "plan",
                "parts",
                "cue_sheets",
                "recordings",
                "not_all",
                "schema",
                "cue_schema",
                "knobs",
            ]),
        )],
    },
    PathTold {
        path: "/api/plan",
        operations: &[
            get(
                "what stands in the plan's file now",
                Told::Json(&["text", "source_digest", "identity"]),
            ),
            with_body(
                "put",
                "replaces it whole or not at all, if it is still the text of base_digest; else 409 with its text, and nothing is written; 409 `another-plan` where identity is given and not that of this plan",
                &[
                    ("text", "string", true),
                    ("base_digest", "string", true),
                    ("identity", "string", false),
                ],
                Told::Json(&["source_digest"]),
            ),
        ],
    },
    PathTold {
        path: "/api/consequences",
        operations: &[with_body(
            "post",
            "mistakes, verdicts and the drawing of the line; 409 `superseded` where a newer serial of the same client has come",
            &[
                ("text", "string", true),
                ("tier", "string", true),
                ("serial", "integer", true),
                ("client", "string", false),
            ],
            Told::Json(&[
                "format",
                "program",
                "serial",
                "tier",
                "source_digest",
                "plan_digest",
                "mistakes",
                "parts",
                "verdicts",
                "line",
            ]),
        )],
    },
    PathTold {
        path: "/api/document/{kind}",
        operations: &[asks(
            "the document that the command of that name gives with --format json",
            &[("text", "string", true), ("ask", "object", false)],
            OF_A_DOCUMENT,
            Told::Json(&["format", "program", "plan_digest", "mistakes"]),
        )],
    },
    PathTold {
        path: "/api/edit",
        operations: &[with_body(
            "post",
            "the text with one key set, comments and layout kept, and where the new value stands",
            &[
                ("text", "string", true),
                ("path", "string", true),
                ("value", "string", true),
            ],
            Told::Json(&["text", "from", "to", "source_digest"]),
        )],
    },
    PathTold {
        path: "/api/places",
        operations: &[with_body(
            "post",
            "every place on the line, whether a part may go there and what binds (places/1)",
            &[
                ("text", "string", true),
                ("part", "string", true),
                ("catalogue", "string", false),
                ("name", "string", false),
                ("silent", "boolean", false),
                ("brings", "string", false),
                ("speaks", "array", false),
                ("at", "array", false),
                ("cable", "string", false),
                ("stub", "string", false),
                ("without_years", "boolean", false),
            ],
            Told::Json(&["format", "program", "plan_digest", "places", "mistakes"]),
        )],
    },
    PathTold {
        path: "/api/place",
        operations: &[asks(
            "the plan's text with a part put at one of its places: `held` is what was asked of /api/places, `number` counts its places from 0; comments and layout of the rest stay",
            &[("held", "object", true), ("number", "integer", true)],
            HELD,
            Told::Json(&["text", "module", "source_digest"]),
        )],
    },
    PathTold {
        path: "/api/threshold",
        operations: &[with_body(
            "post",
            "the plan with the threshold of a detector moved: misses, false alarms, messages, their delay and cost, and charge before and after",
            &[
                ("text", "string", true),
                ("detector", "string", true),
                ("on_above_db", "number", true),
                ("real_per_d", "number", false),
            ],
            Told::Json(&[
                "format",
                "detector",
                "unit",
                "planned_db",
                "on_above_db",
                "sets",
                "real_per_d",
                "before",
                "after",
                "text",
            ]),
        )],
    },
    PathTold {
        path: "/api/cues/{*name}",
        operations: &[
            get(
                "the text of a cue sheet in the plan's folder",
                Told::Json(&["path", "text", "source_digest"]),
            ),
            with_body(
                "put",
                "writes a cue sheet whole or not at all: over the text of base_digest, or, without one, where no file is yet; else 409 with the text that is there, and nothing is written; 409 `another-plan` where identity is given and not that of this plan",
                &[
                    ("text", "string", true),
                    ("base_digest", "string", false),
                    ("identity", "string", false),
                ],
                Told::Json(&["source_digest"]),
            ),
        ],
    },
    PathTold {
        path: "/api/sheet",
        operations: &[with_body(
            "post",
            "what is wrong with the text of a cue sheet, held against the text of a plan, with places; `cues` is its name in the plan's folder",
            &[
                ("text", "string", true),
                ("cues", "string", false),
                ("cue_text", "string", true),
            ],
            Told::Json(&["source_digest", "file", "mistakes", "has_line"]),
        )],
    },
    PathTold {
        path: "/api/quay",
        operations: &[asks(
            "what a meter must read while the line is put together, and what came of readings, as rows of step, reading, unit, initials and note or as the text of a file with these columns (dockside/1); `rows` is what stands in each box, `row_faults` what of it cannot be used, `csv` the file that it makes",
            &[
                ("text", "string", true),
                ("quay", "object", false),
                ("rows", "table", false),
                ("csv", "string", false),
            ],
            OF_A_QUAY,
            Told::Json(&[
                "format",
                "program",
                "plan_digest",
                "quay",
                "stages",
                "steps",
                "faults",
                "rows",
                "row_faults",
                "oddities",
                "csv",
                "mistakes",
            ]),
        )],
    },
    PathTold {
        path: "/api/recordings/{name}",
        operations: &[get(
            "what a recording in the plan's folder says of itself; `/` in its name is written %2F",
            Told::Json(&["name", "rate_hz", "channels", "duration_s", "start_utc"]),
        )],
    },
    PathTold {
        path: "/api/recordings/{name}/picture",
        operations: &[asked(
            "a piece of its spectrogram, without letters",
            &[
                ("from_s", "number", true),
                ("to_s", "number", true),
                ("width", "integer", true),
                ("height", "integer", true),
                ("channel", "integer", false),
                ("low_hz", "number", false),
                ("high_hz", "number", false),
                ("top_db", "number", false),
                ("range_db", "number", false),
                ("sensor", "string", false),
            ],
            Told::Bytes("image/png"),
        )],
    },
    PathTold {
        path: "/api/recordings/{name}/sound",
        operations: &[get(
            "the file itself, in pieces where a Range is asked for",
            Told::Bytes("audio/wav"),
        )],
    },
    PathTold {
        path: "/api/listen",
        operations: &[with_body(
            "post",
            "a job: a recording through the detectors of the plan (events/1)",
            &[
                ("text", "string", true),
                ("recording", "string", true),
                ("as", "array", false),
            ],
            Told::Accepted(&["job"]),
        )],
    },
    PathTold {
        path: "/api/jobs",
        operations: &[asks(
            "starts long work",
            &[
                ("kind", "string", true),
                ("text", "string", true),
                ("ask", "object", false),
            ],
            OF_A_JOB,
            Told::Accepted(&["job"]),
        )],
    },
    PathTold {
        path: "/api/jobs/{id}",
        operations: &[
            get(
                "how far it is, and its document when it is done",
                Told::Json(&["kind", "state", "result"]),
            ),
            Operation {
                method: "delete",
                ..get(
                    "stops it, or forgets it where it is over",
                    Told::Json(&["job"]),
                )
            },
        ],
    },
    PathTold {
        path: "/api/jobs/{id}/events",
        operations: &[get(
            "how far it is, as it goes on",
            Told::Events(&["progress", "done", "failed", "cancelled"]),
        )],
    },
    PathTold {
        path: "/api/jobs/{id}/records",
        operations: &[asked(
            "records of a rehearsal (trace/1), by time, and of one instant by their numbers: the next page is what comes after the last number",
            &[
                ("from_s", "number", false),
                ("to_s", "number", false),
                ("after", "integer", false),
                ("limit", "integer", false),
            ],
            Told::Json(&["records", "more", "of"]),
        )],
    },
    PathTold {
        path: "/api/jobs/{id}/chain",
        operations: &[asked(
            "all that led to a record and all that came of it",
            &[("record", "integer", true)],
            Told::Json(&["records", "more"]),
        )],
    },
    PathTold {
        path: "/api/jobs/{id}/export",
        operations: &[get(
            "the whole trace as a file, a record a line",
            Told::Bytes("application/x-ndjson"),
        )],
    },
    PathTold {
        path: "/api/events",
        operations: &[get(
            "changes of the plan on the disk, and of what its checks read beside it, how far all long work is (`job` with its number and state), and a heartbeat; `missed` where a slow reader was not told all",
            Told::Events(&[
                "heartbeat",
                "plan-changed",
                "plan-gone",
                "beside-changed",
                "job",
                "missed",
            ]),
        )],
    },
];

/// The whole as a document.
pub(crate) fn document() -> Value {
    let paths = PATHS.iter().map(|told| {
        let own = told.operations.iter();
        let operations: Map<String, Value> = own
            .map(|o| (o.method.to_owned(), operation(told.path, o)))
            .collect();
        (told.path.replace("{*", "{"), Value::Object(operations))
    });
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "The desk: a plan and its consequences",
            "version": PROGRAM,
            "description": "Errors are { \"error\": { \"code\", \"message\", \"help\" } } with a fitting status. Places in a text are UTF-16 offsets.",
        },
        "paths": paths.collect::<Map<String, Value>>(),
    })
}

fn operation(path: &str, of: &Operation) -> Value {
    let mut parameters: Vec<Value> = Vec::new();
    for piece in path.split('/') {
        let Some(name) = piece.strip_prefix('{').and_then(|p| p.strip_suffix('}')) else {
            continue;
        };
        let name = name.trim_start_matches('*');
        let schema = match name {
            "kind" => json!({ "type": "string", "enum": KINDS }),
            "id" => json!({ "type": "integer" }),
            _ => json!({ "type": "string" }),
        };
        parameters.push(json!({ "name": name, "in": "path", "required": true, "schema": schema }));
    }
    for (name, kind, required) in of.query {
        let schema = json!({ "type": kind });
        parameters
            .push(json!({ "name": name, "in": "query", "required": required, "schema": schema }));
    }
    let (status, content) = match of.answer {
        Told::Json(keys) => ("200", json_of(keys)),
        Told::Accepted(keys) => ("202", json_of(keys)),
        Told::Events(names) => {
            let told = json!({ "type": "string", "description": names.join(", ") });
            ("200", json!({ "text/event-stream": { "schema": told } }))
        }
        Told::Bytes(kind) => {
            let mut content = Map::new();
            content.insert(kind.to_owned(), json!({}));
            ("200", Value::Object(content))
        }
    };
    let error = json!({ "description": "why not", "content": json_of(&["error"]) });
    let mut told = json!({
        "summary": of.says,
        "parameters": parameters,
        "responses": { "default": error },
    });
    told["responses"][status] = json!({ "description": of.says, "content": content });
    if !of.body.is_empty() {
        told["requestBody"] = json!({ "required": true, "content": body(path, of) });
    }
    told
}

fn json_of(keys: &[&str]) -> Value {
    json!({ "application/json": { "schema": { "type": "object", "required": keys } } })
}

fn typed(kind: &str) -> Value {
    match kind {
        "array" => json!({ "type": "array", "items": { "type": "string" } }),
        "table" => json!({ "type": "array", "items": typed("array") }),
        kind => json!({ "type": kind }),
    }
}

fn body(path: &str, of: &Operation) -> Value {
    let properties = of.body.iter().map(|(key, kind, _)| {
        let mut schema = typed(kind);
        if *kind == "object" {
            let within = of.within.iter();
            schema["additionalProperties"] = json!(false);
            schema["properties"] = within
                .map(|(key, kind)| ((*key).to_owned(), typed(kind)))
                .collect::<Map<String, Value>>()
                .into();
        }
        if *key == "kind" && path == "/api/jobs" {
            schema["enum"] = json!(jobs::KINDS);
        }
        if *key == "tier" {
            schema["enum"] = json!(["quick", "full"]);
        }
        ((*key).to_owned(), schema)
    });
    let required = of.body.iter().filter(|(_, _, must)| *must);
    json!({ "application/json": { "schema": {
        "type": "object",
        "additionalProperties": false,
        "properties": properties.collect::<Map<String, Value>>(),
        "required": required.map(|(key, ..)| *key).collect::<Vec<_>>(),
    } } })
}
