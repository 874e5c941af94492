//! What can be told of a routine before it runs: functions that nobody has, names that are used up, things of the wrong kind.

use std::collections::BTreeSet;

use quantity::nearest;
use rhai::{AST, ASTFlags, ASTNode, Expr, FnCallExpr, Module, Position, Stmt};

use crate::binding::{Binding, Bound, Shape};
use crate::fault::Fault;
use crate::host::{HOST, SETTINGS};
use crate::keys::{named_in, read_by_handlers};
use crate::language::FUNCTIONS;
use crate::program::Handler;

/// What a routine can do, by the numbers of the binding; ascending.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct May {
    pub(crate) publishes: BTreeSet<usize>,
    pub(crate) asks: BTreeSet<usize>,
    pub(crate) answers: bool,
    pub(crate) sets: BTreeSet<usize>,
    pub(crate) sends_up: BTreeSet<(usize, usize)>,
    pub(crate) switches: BTreeSet<(usize, bool)>,
    pub(crate) enters: BTreeSet<usize>,
}

/// What is known of a text that has been read, before it runs.
pub(crate) struct Checked {
    /// Its mistakes, in the order of its lines.
    pub(crate) faults: Vec<Fault>,
    /// What may be meant otherwise, in the same order.
    pub(crate) warnings: Vec<Fault>,
    pub(crate) may: May,
    /// The settings that it never uses.
    pub(crate) unused: Vec<String>,
    /// The handlers that it calls itself.
    pub(crate) called: Vec<Handler>,
}

/// Checks a text that has been read.
pub(crate) fn check(ast: &AST, binding: &Binding) -> Checked {
    let mut found = Found {
        binding,
        functions: ast
            .iter_functions()
            .map(|f| (f.name.to_owned(), f.params.len()))
            .collect(),
        faults: Vec::new(),
        may: May::default(),
    };
    for statement in ast.statements() {
        found.top(statement);
    }
    for function in ast.iter_functions() {
        found.function(function.name, &function.params);
    }
    let functions: &Module = ast.as_ref();
    let asked = functions
        .iter_script_fn_info()
        .map(|(.., f)| f)
        .find(|f| f.name == Handler::Asked.word())
        .map(|f| f.body.start_position()..=f.body.end_position());
    ast.walk(&mut |path: &[ASTNode]| {
        // A map that `when_asked` gives back is its answer.
        let given_back = match path {
            [ASTNode::Stmt(Stmt::Expr(given))] => Some(&**given),
            [.., ASTNode::Stmt(Stmt::Return(Some(given), ..))] => Some(&**given),
            _ => None,
        };
        if let Some(Expr::Map(map, at)) = given_back
            && asked.as_ref().is_some_and(|asked| asked.contains(at))
        {
            found.answered(map.0.iter().map(|(key, _)| (key.name.as_str(), key.pos)));
        }
        match path.last() {
            Some(ASTNode::Stmt(Stmt::FnCall(call, at))) => found.call(call, *at, false),
            Some(ASTNode::Expr(Expr::FnCall(call, at))) => found.call(call, *at, false),
            Some(ASTNode::Expr(Expr::MethodCall(call, at))) => found.call(call, *at, true),
            Some(ASTNode::Stmt(Stmt::Var(variable, flags, at)))
                if path.len() > 1 || !flags.contains(ASTFlags::CONSTANT) =>
            {
                found.declared(&variable.0.name, *at);
            }
            _ => {}
        }
        true
    });
    let Found {
        functions,
        mut faults,
        may,
        ..
    } = found;
    let own = |name: &str| functions.iter().any(|(n, _)| n == name);
    let mut warnings = Vec::new();
    read_by_handlers(ast, binding, own, (&mut faults, &mut warnings));
    for told in [&mut faults, &mut warnings] {
        told.sort_by_key(|f| (f.line, f.column));
        told.dedup();
    }
    let settings = binding.settings.iter().map(|(name, _)| name);
    let unused = settings.filter(|name| !named_in(ast, name));
    let called = Handler::ALL.into_iter();
    Checked {
        faults,
        warnings,
        may,
        unused: unused.cloned().collect(),
        called: called.filter(|h| named_in(ast, h.word())).collect(),
    }
}

struct Found<'a> {
    binding: &'a Binding,
    functions: BTreeSet<(String, usize)>,
    faults: Vec<Fault>,
    may: May,
}

impl Found<'_> {
    fn tell(&mut self, fault: Fault) {
        self.faults.push(fault);
    }

    fn top(&mut self, statement: &Stmt) {
        match statement {
            Stmt::Noop(_) => {}
            Stmt::Var(variable, flags, at) if flags.contains(ASTFlags::CONSTANT) => {
                self.declared(&variable.0.name, *at);
            }
            other => self.tell(
                Fault::at(
                    other.position(),
                    "outside of functions a routine has only constants",
                )
                .help("put it into a function, or write `const NAME = value;`; what a routine remembers from run to run is `this`"),
            ),
        }
    }

    fn function(&mut self, name: &str, parameters: &[&str]) {
        for parameter in parameters {
            self.declared(parameter, Position::NONE);
        }
        let Some(handler) = Handler::ALL.into_iter().find(|h| h.word() == name) else {
            return;
        };
        if parameters.len() != handler.parameters() {
            self.tell(
                Fault::at(
                    Position::NONE,
                    format!(
                        "`{name}` is called with {} values, and this one takes {}",
                        handler.parameters(),
                        parameters.len()
                    ),
                )
                .help(format!("write `fn {}`", handler.example())),
            );
        }
    }

    /// A name that is bound cannot be another thing as well.
    fn declared(&mut self, name: &str, at: Position) {
        let names = self.binding.names.iter().map(|(n, _)| n);
        let settings = self.binding.settings.iter().map(|(n, _)| n);
        if names.chain(settings).any(|n| n == name) {
            self.tell(
                Fault::at(at, format!("`{name}` is bound by the behaviour already"))
                    .help("take another name here, or unbind it there"),
            );
        }
    }

    fn call(&mut self, call: &FnCallExpr, at: Position, method: bool) {
        let name = call.name.as_str();
        if call.op_token.is_some() || !name.starts_with(|c: char| c.is_alphabetic() || c == '_') {
            return;
        }
        let own = |count: usize| self.functions.contains(&(name.to_owned(), count));
        if own(call.args.len()) {
            return;
        }
        if self.functions.iter().any(|(n, _)| n == name) {
            let counts: Vec<String> = self
                .functions
                .iter()
                .filter(|(n, _)| n == name)
                .map(|(_, count)| count.to_string())
                .collect();
            self.tell(Fault::at(
                at,
                format!(
                    "`{name}` takes {} values, and is called with {}",
                    counts.join(" or "),
                    call.args.len()
                ),
            ));
            return;
        }
        if let Some((_, example)) = HOST.iter().find(|(n, _)| *n == name) {
            self.host(name, example, call, at, method);
            return;
        }
        if FUNCTIONS.contains(&name) {
            return;
        }
        let own = self.functions.iter().map(|(n, _)| n.as_str());
        let host = HOST.iter().map(|(n, _)| *n);
        let all = own.chain(host).chain(FUNCTIONS.iter().copied());
        let fault = Fault::at(at, format!("there is no function `{name}`"));
        self.faults.push(match nearest(name, all) {
            Some(near) => fault.help(format!("did you mean `{near}`?")),
            None => fault,
        });
    }

    /// A function of the module: what it is called with is known where a bound name stands there.
    fn host(&mut self, name: &str, example: &str, call: &FnCallExpr, at: Position, method: bool) {
        let fits = match name {
            "now" => call.args.is_empty(),
            "log" => call.args.len() == 1,
            "answer" => call.args.len() <= 1,
            "enter" | "set" => call.args.len() == 2,
            "send_up" => matches!(call.args.len(), 2 | 3),
            _ => matches!(call.args.len(), 1 | 2),
        };
        if !fits || method {
            self.tell(
                Fault::at(at, format!("`{name}` is not called like this"))
                    .help(format!("write {example}")),
            );
            return;
        }
        let argument = |number: usize| -> Option<usize> {
            let Expr::Variable(variable, _, _) = call.args.get(number)? else {
                return None;
            };
            let bound = &self.binding.names;
            bound.iter().position(|(n, _)| *n == variable.1.as_str())
        };
        let of_kind = |found: &mut Vec<Fault>, number: usize, wanted: &str| -> Vec<usize> {
            let all = self.binding.names.iter().enumerate();
            let of_it = all.filter(|(_, (_, bound))| bound.what() == wanted);
            let of_it: Vec<usize> = of_it.map(|(i, _)| i).collect();
            match argument(number) {
                // What it stands for is known only when it runs: it may be any of them.
                None => of_it,
                Some(one) if of_it.contains(&one) => vec![one],
                Some(one) => {
                    let (word, bound) = &self.binding.names[one];
                    let position = call.args[number].position();
                    found.push(
                        Fault::at(
                            position,
                            format!("`{word}` is {}, not {wanted}", bound.what()),
                        )
                        .help(format!("write {example}")),
                    );
                    Vec::new()
                }
            }
        };
        let mut faults = Vec::new();
        match name {
            "publish" => {
                let topics = of_kind(&mut faults, 0, "a topic");
                self.may.publishes.extend(topics);
            }
            "ask" => {
                let requests = of_kind(&mut faults, 0, "a request");
                self.may.asks.extend(requests);
            }
            "set" => {
                let detectors = of_kind(&mut faults, 0, "a detector");
                self.may.sets.extend(detectors);
                if let Some(Expr::Map(map, _)) = call.args.get(1) {
                    let keys = map.0.iter().map(|(key, _)| (key.name.as_str(), key.pos));
                    for (key, at) in keys.filter(|(key, _)| !SETTINGS.contains(key)) {
                        let fault = Fault::at(at, format!("a detector has no setting `{key}`"));
                        faults.push(match nearest(key, SETTINGS) {
                            Some(near) => fault.help(format!("did you mean `{near}`?")),
                            None => fault.help(format!("it has: {}", SETTINGS.join(", "))),
                        });
                    }
                }
            }
            "answer" => {
                self.may.answers = true;
                if self.binding.answer.is_none() {
                    faults.push(
                        Fault::at(at, "no question starts this routine, so it answers none")
                            .help("start its behaviour with `when_asked = \"request.ID\"`"),
                    );
                }
            }
            "send_up" => {
                let uplinks = of_kind(&mut faults, 0, "an uplink");
                let topics = of_kind(&mut faults, 1, "a topic");
                for uplink in uplinks {
                    let pairs = topics.iter().map(|topic| (uplink, *topic));
                    self.may.sends_up.extend(pairs);
                }
            }
            "switch_on" | "switch_off" => {
                let outputs = of_kind(&mut faults, 0, "an output");
                let outputs = outputs.into_iter().map(|o| (o, name == "switch_on"));
                self.may.switches.extend(outputs);
            }
            "enter" => {
                let states = of_kind(&mut faults, 0, "a state");
                self.may.enters.extend(states);
            }
            _ => {}
        }
        let empty = match (name, call.args.len()) {
            ("answer", 0) => self.binding.answer.as_ref().map(|shape| ("answer", shape)),
            ("ask", 1) => argument(0).and_then(|number| match &self.binding.names[number].1 {
                Bound::Request(shape) => Some(("question", shape)),
                _ => None,
            }),
            _ => None,
        };
        if let Some(why) = empty.and_then(|(kind, shape)| shape.left_empty(kind)) {
            faults.push(Fault::at(at, why).help(format!("write {example}")));
        }
        self.faults.extend(faults);
        let Some(Expr::Map(map, _)) = call.args.last() else {
            return;
        };
        let filled = match call.args.len() {
            1 => self.binding.answer.as_ref().map(|shape| ("answer", shape)),
            more => argument(more - 2).and_then(|number| match &self.binding.names[number].1 {
                Bound::Topic(shape) => Some(("topic", shape)),
                Bound::Request(shape) => Some(("question", shape)),
                _ => None,
            }),
        };
        if let Some((kind, shape)) = filled {
            let keys = map.0.iter().map(|(key, _)| (key.name.as_str(), key.pos));
            let faults = unknown_fields(shape, kind, keys);
            self.faults.extend(faults);
        }
    }

    fn answered<'m>(&mut self, keys: impl Iterator<Item = (&'m str, Position)>) {
        self.may.answers = true;
        if let Some(shape) = &self.binding.answer {
            let faults = unknown_fields(shape, "answer", keys);
            self.faults.extend(faults);
        }
    }
}

fn unknown_fields<'m>(
    shape: &Shape,
    kind: &str,
    keys: impl Iterator<Item = (&'m str, Position)>,
) -> Vec<Fault> {
    let names = shape.fields.iter().map(|f| f.name.as_str());
    let mut faults = Vec::new();
    for (key, at) in keys {
        if names.clone().any(|n| n == key) {
            continue;
        }
        let fault = Fault::at(at, format!("{} has no field `{key}`", shape.what(kind)));
        faults.push(match nearest(key, names.clone()) {
            Some(near) => fault.help(format!("did you mean `{near}`?")),
            None => fault,
        });
    }
    faults
}
