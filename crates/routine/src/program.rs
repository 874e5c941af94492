//! A routine that has been read and bound, and its runs.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use rhai::debugger::{DebuggerCommand, DebuggerEvent};
use rhai::{AST, CallFnOptions, Dynamic, Engine, EvalAltResult, Map, Module, Position, Scope};

use crate::binding::{Binding, Setting};
use crate::check::{Checked, May, check};
use crate::deed::{Deed, Place};
use crate::fault::Fault;
use crate::host::{Doing, Name, answer, no_answer, register};
use crate::language::{LIMITS, engine};

/// A function of a routine that is called from outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Handler {
    /// An event was heard.
    Heard,
    /// A message was told.
    Told,
    /// A vote was carried.
    Voted,
    /// A question came.
    Asked,
    /// A question of its own was answered, or was not.
    Answered,
    /// An interval has passed.
    Each,
}

impl Handler {
    /// All of them.
    pub const ALL: [Handler; 6] = [
        Handler::Heard,
        Handler::Told,
        Handler::Voted,
        Handler::Asked,
        Handler::Answered,
        Handler::Each,
    ];

    /// Its name.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Handler::Heard => "when_heard",
            Handler::Told => "when_told",
            Handler::Voted => "when_voted",
            Handler::Asked => "when_asked",
            Handler::Answered => "when_answered",
            Handler::Each => "each",
        }
    }

    /// How it is written.
    #[must_use]
    pub fn example(self) -> &'static str {
        match self {
            Handler::Heard => "when_heard(event) { ... }",
            Handler::Told => "when_told(message) { ... }",
            Handler::Voted => "when_voted() { ... }",
            Handler::Asked => "when_asked(question) { ... }",
            Handler::Answered => "when_answered(answer) { ... }",
            Handler::Each => "each() { ... }",
        }
    }

    pub(crate) fn parameters(self) -> usize {
        match self {
            Handler::Heard | Handler::Told | Handler::Asked | Handler::Answered => 1,
            Handler::Voted | Handler::Each => 0,
        }
    }
}

/// A value that a routine is called with.
#[derive(Clone, Debug, PartialEq)]
pub enum Given {
    /// Not known.
    Nothing,
    /// A decimal number.
    Number(f64),
    /// A whole number; an instant in ns since 1970 too.
    Whole(i64),
    /// Yes or no.
    Flag(bool),
    /// A text.
    Text(String),
}

/// What a routine is called for.
#[derive(Clone, Debug, PartialEq)]
pub enum Call {
    /// An event was heard: what is known of it, by name.
    Heard(Vec<(String, Given)>),
    /// A message was told.
    Told {
        /// Its topic.
        topic: String,
        /// Its fields by name; absent where it is not known what it holds.
        values: Option<Vec<(String, Given)>>,
    },
    /// A vote was carried.
    Voted,
    /// A question came.
    Asked {
        /// The request.
        request: String,
        /// Its fields by name; absent where it is not known what it holds.
        values: Option<Vec<(String, Given)>>,
    },
    /// A question of its own was answered.
    Answered {
        /// The request.
        request: String,
        /// The fields of the answer by name; absent where it is not known what it holds.
        values: Option<Vec<(String, Given)>>,
        /// Time from question to answer, s.
        after_s: f64,
    },
    /// A question of its own has no answer.
    Unanswered {
        /// The request.
        request: String,
        /// Why.
        why: Failed,
    },
    /// An interval has passed.
    Each,
}

/// Why a question has no answer, as far as the module that asked can know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failed {
    /// None came within its time.
    InTime,
    /// No way leads to the module that is asked.
    NoWay,
    /// It was made oftener than it may be.
    Refused,
}

impl Failed {
    /// The text that a routine is given.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Failed::InTime => "no answer",
            Failed::NoWay => "no way",
            Failed::Refused => "refused",
        }
    }
}

impl Call {
    fn handler(&self) -> Handler {
        match self {
            Call::Heard(_) => Handler::Heard,
            Call::Told { .. } => Handler::Told,
            Call::Voted => Handler::Voted,
            Call::Asked { .. } => Handler::Asked,
            Call::Answered { .. } | Call::Unanswered { .. } => Handler::Answered,
            Call::Each => Handler::Each,
        }
    }
}

/// What a routine remembers from run to run: the map `this`, empty at first.
#[derive(Clone, Debug, Default)]
pub struct Memory(Map);

/// What came of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// What it did, in order; before a fault too.
    pub deeds: Vec<Deed>,
    /// Where each of them stands in its text.
    pub places: Vec<Place>,
    /// Steps that it took.
    pub operations: u64,
    /// Why it stopped before its end.
    pub fault: Option<Fault>,
}

/// A routine that has been read and bound.
pub struct Program {
    engine: Engine,
    ast: AST,
    binding: Rc<Binding>,
    doing: Rc<RefCell<Doing>>,
    operations: Rc<Cell<u64>>,
    constants: Vec<(String, Dynamic)>,
    handlers: Vec<Handler>,
    may: May,
    warnings: Vec<Fault>,
    unused: Vec<String>,
    called: Vec<Handler>,
}

impl std::fmt::Debug for Program {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Program")
            .field("handlers", &self.handlers)
            .field("may", &self.may)
            .finish_non_exhaustive()
    }
}

impl Program {
    /// Reads a routine and binds its names.
    ///
    /// # Errors
    /// All mistakes that can be told before it runs, in the order of its lines.
    pub fn new(text: &str, binding: &Binding) -> Result<Program, Vec<Fault>> {
        if text.len() > LIMITS.source_bytes {
            return Err(vec![Fault {
                line: None,
                column: None,
                message: format!(
                    "a routine has at most {} bytes, and this has {}",
                    LIMITS.source_bytes,
                    text.len()
                ),
                help: None,
            }]);
        }
        let mut engine = engine();
        let binding = Rc::new(binding.clone());
        let doing = Rc::new(RefCell::new(Doing::default()));
        register(&mut engine, &binding, &doing);
        let read = |engine: &Engine, scope: &Scope<'_>| {
            engine
                .compile_with_scope(scope, text)
                .map_err(|error| vec![Fault::of_parsing(&error)])
        };
        // First only to learn its constants, which its functions may use.
        let first = read(&engine, &Scope::new())?;
        let Checked {
            mut faults,
            warnings,
            may,
            unused,
            called,
        } = check(&first, &binding);
        let mut scope = Scope::new();
        let mut constants: Vec<(String, Dynamic)> = Vec::new();
        let mut constant = |name: &str, value: Dynamic| {
            constants.push((name.to_owned(), value.clone()));
            scope.push_constant_dynamic(name.to_owned(), value);
        };
        for (number, (name, _)) in binding.names.iter().enumerate() {
            constant(name, Dynamic::from(Name(number)));
        }
        for (name, setting) in &binding.settings {
            constant(name, of_setting(setting));
        }
        for (name, is_constant, value) in first.iter_literal_variables(true, false) {
            if is_constant {
                constant(name, value);
            }
        }
        engine.set_strict_variables(true);
        let ast = match read(&engine, &scope) {
            Ok(ast) => ast,
            Err(more) => {
                faults.extend(more);
                faults.sort_by_key(|f| (f.line, f.column));
                return Err(faults);
            }
        };
        if !faults.is_empty() {
            return Err(faults);
        }
        engine.register_global_module(module_of(&constants).into());
        let operations = Rc::new(Cell::new(0));
        let counted = Rc::clone(&operations);
        engine.on_progress(move |count| {
            counted.set(count);
            None
        });
        let handlers = Handler::ALL
            .into_iter()
            .filter(|h| first.iter_functions().any(|f| f.name == h.word()))
            .collect();
        Ok(Program {
            engine,
            ast,
            binding,
            doing,
            operations,
            constants,
            handlers,
            may,
            warnings,
            unused,
            called,
        })
    }

    /// Whether it has a handler.
    #[must_use]
    pub fn has(&self, handler: Handler) -> bool {
        self.handlers.contains(&handler)
    }

    /// What may be meant otherwise, in the order of its lines.
    #[must_use]
    pub fn warnings(&self) -> &[Fault] {
        &self.warnings
    }

    /// The settings of the binding that its text never uses.
    #[must_use]
    pub fn unused_settings(&self) -> &[String] {
        &self.unused
    }

    /// Whether its own text calls a handler, or hands it on.
    #[must_use]
    pub fn calls(&self, handler: Handler) -> bool {
        self.called.contains(&handler)
    }

    /// The topics that it can publish, by their number in the binding; how often is not known before it runs.
    pub fn publishes(&self) -> impl Iterator<Item = usize> + '_ {
        self.may.publishes.iter().copied()
    }

    /// The requests that it can make.
    pub fn asks(&self) -> impl Iterator<Item = usize> + '_ {
        self.may.asks.iter().copied()
    }

    /// The detectors that it can set.
    pub fn sets(&self) -> impl Iterator<Item = usize> + '_ {
        self.may.sets.iter().copied()
    }

    /// Whether it can answer the question that starts it.
    #[must_use]
    pub fn answers(&self) -> bool {
        self.may.answers
    }

    /// The uplinks and topics that it can send up.
    pub fn sends_up(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.may.sends_up.iter().copied()
    }

    /// The outputs that it can switch, and whether on or off.
    pub fn switches(&self) -> impl Iterator<Item = (usize, bool)> + '_ {
        self.may.switches.iter().copied()
    }

    /// The states that it can enter.
    pub fn enters(&self) -> impl Iterator<Item = usize> + '_ {
        self.may.enters.iter().copied()
    }

    /// Calls the handler of a call, at an instant in ns since 1970 where that is known.
    ///
    /// What it did before a fault is done. A routine without the handler does nothing.
    #[must_use]
    pub fn run(&self, memory: &mut Memory, call: &Call, now_ns: Option<i64>) -> Run {
        let handler = call.handler();
        if !self.has(handler) {
            return Run {
                deeds: Vec::new(),
                places: Vec::new(),
                operations: 0,
                fault: None,
            };
        }
        let before = memory.0.clone();
        let mut this = Dynamic::from_map(std::mem::take(&mut memory.0));
        self.operations.set(0);
        let ran = called(
            &self.engine,
            &self.doing,
            &self.ast,
            &mut this,
            (call, now_ns),
        );
        let ran = ran.and_then(|returned| self.returns(handler, returned));
        let ran = ran.map_err(|error| *error).err();
        let limit = ran.as_ref().is_some_and(EvalAltResult::is_system_exception);
        let mut fault = ran.map(Fault::of_running);
        let operations = self.operations.get();
        let Doing { deeds, places, .. } = std::mem::take(&mut *self.doing.borrow_mut());
        let stopped = fault.as_mut().filter(|f| limit || f.line.is_none());
        if let Some(fault) = stopped {
            match self.last_place(before, call, now_ns) {
                Some((line, column)) => (fault.line, fault.column) = (Some(line), column),
                None => fault.message = format!("in `{}`: {}", handler.word(), fault.message),
            }
        }
        match this.try_cast::<Map>() {
            Some(map) => {
                let bytes = map_bytes(&map);
                if bytes > LIMITS.memory_bytes && fault.is_none() {
                    fault = Some(whole(format!(
                        "its memory holds {bytes} bytes, and has {}",
                        LIMITS.memory_bytes
                    )));
                }
                memory.0 = map;
            }
            None if fault.is_none() => {
                fault = Some(whole(
                    "`this` is a map, and it has put another value in its place".to_owned(),
                ));
            }
            None => {}
        }
        Run {
            deeds,
            places,
            operations,
            fault,
        }
    }

    /// Line and column of the last statement or expression before a limit. The language tells a limit at the call of the function in which it
    /// strikes, and of a handler that has no place; but a run depends on nothing but what is given to it, so the same run once more, watched step by
    /// step, ends at the same place. Only a run that a limit has stopped is watched: watching costs, and what is not watched hardly pays for it.
    fn last_place(
        &self,
        before: Map,
        call: &Call,
        now_ns: Option<i64>,
    ) -> Option<(usize, Option<usize>)> {
        let mut engine = engine();
        let doing = Rc::new(RefCell::new(Doing::default()));
        register(&mut engine, &self.binding, &doing);
        engine.register_global_module(module_of(&self.constants).into());
        let last = Rc::new(Cell::new(Position::NONE));
        let seen = Rc::clone(&last);
        #[expect(
            deprecated,
            reason = "the language calls it volatile; its version is pinned, and a check holds what it tells"
        )]
        engine.register_debugger(
            |_, debugger| debugger,
            move |_, event, _, _, position| {
                let steps = matches!(event, DebuggerEvent::Start | DebuggerEvent::Step);
                if steps && !position.is_none() {
                    seen.set(position);
                }
                Ok(DebuggerCommand::StepInto)
            },
        );
        let mut this = Dynamic::from_map(before);
        // That it stops is known.
        let _ = called(&engine, &doing, &self.ast, &mut this, (call, now_ns));
        let last = last.get();
        Some((last.line()?, last.position()))
    }
}

/// Calls the handler of a call.
fn called(
    engine: &Engine,
    doing: &RefCell<Doing>,
    ast: &AST,
    this: &mut Dynamic,
    (call, now_ns): (&Call, Option<i64>),
) -> Result<Dynamic, Box<EvalAltResult>> {
    let handler = call.handler();
    *doing.borrow_mut() = Doing {
        now_ns,
        asked: handler == Handler::Asked,
        ..Doing::default()
    };
    let options = CallFnOptions::new().eval_ast(false).bind_this_ptr(this);
    let (scope, name) = (&mut Scope::new(), handler.word());
    match argument(call) {
        Some(argument) => engine.call_fn_with_options(options, scope, ast, name, (argument,)),
        None => engine.call_fn_with_options(options, scope, ast, name, ()),
    }
}

fn module_of(constants: &[(String, Dynamic)]) -> Module {
    let mut module = Module::new();
    for (name, value) in constants {
        module.set_var(name, value.clone());
    }
    module.build_index();
    module
}

impl Program {
    /// The map that `when_asked` gives back is its answer; it gives back nothing else but nothing.
    fn returns(&self, handler: Handler, returned: Dynamic) -> Result<(), Box<EvalAltResult>> {
        if handler != Handler::Asked {
            return Ok(());
        }
        // What is given back stands nowhere.
        self.doing.borrow_mut().at = Position::NONE;
        match returned.try_cast_result::<Map>() {
            Ok(values) => answer(&self.binding, &self.doing, Some(&values)),
            Err(other) => no_answer(&self.binding, &self.doing, &other),
        }
    }
}

fn whole(message: String) -> Fault {
    Fault {
        line: None,
        column: None,
        message,
        help: None,
    }
}

fn of_setting(setting: &Setting) -> Dynamic {
    match setting {
        Setting::Number(x) => Dynamic::from_float(*x),
        Setting::Whole(whole) => Dynamic::from_int(*whole),
        Setting::Flag(yes) => Dynamic::from_bool(*yes),
        Setting::Text(text) => Dynamic::from(text.clone()),
    }
}

fn of_given(given: &Given) -> Dynamic {
    match given {
        Given::Nothing => Dynamic::UNIT,
        Given::Number(x) => Dynamic::from_float(*x),
        Given::Whole(whole) => Dynamic::from_int(*whole),
        Given::Flag(yes) => Dynamic::from_bool(*yes),
        Given::Text(text) => Dynamic::from(text.clone()),
    }
}

fn of_pairs(pairs: &[(String, Given)]) -> Map {
    let pairs = pairs.iter();
    pairs
        .map(|(name, given)| (name.as_str().into(), of_given(given)))
        .collect()
}

/// What came, under the name of its topic or request, with its values.
fn carried(kind: &str, name: &str, values: Option<&[(String, Given)]>) -> Map {
    let values = values.map_or(Dynamic::UNIT, |v| Dynamic::from_map(of_pairs(v)));
    Map::from([
        (kind.into(), Dynamic::from(name.to_owned())),
        ("values".into(), values),
    ])
}

fn argument(call: &Call) -> Option<Map> {
    match call {
        Call::Heard(event) => Some(of_pairs(event)),
        Call::Told { topic, values } => Some(carried("topic", topic, values.as_deref())),
        Call::Asked { request, values } => Some(carried("request", request, values.as_deref())),
        Call::Answered {
            request,
            values,
            after_s,
        } => {
            let mut answer = carried("request", request, values.as_deref());
            answer.insert("after".into(), Dynamic::from_float(*after_s));
            answer.insert("failed".into(), Dynamic::UNIT);
            Some(answer)
        }
        Call::Unanswered { request, why } => {
            let mut answer = carried("request", request, None);
            answer.insert("after".into(), Dynamic::UNIT);
            answer.insert("failed".into(), Dynamic::from(why.word()));
            Some(answer)
        }
        Call::Voted | Call::Each => None,
    }
}

/// Bytes that a map holds: texts and keys by their bytes, all else eight each.
fn map_bytes(map: &Map) -> usize {
    map.iter()
        .map(|(key, value)| key.len() + bytes(value))
        .sum()
}

fn bytes(value: &Dynamic) -> usize {
    if let Ok(text) = value.as_immutable_string_ref() {
        return text.len();
    }
    if let Ok(array) = value.as_array_ref() {
        return 8 + array.iter().map(bytes).sum::<usize>();
    }
    if let Ok(map) = value.as_map_ref() {
        return 8 + map_bytes(&map);
    }
    8
}
