//! The language as routines have it: which parts, which limits, which mathematics.

use std::sync::Once;

use rhai::packages::{
    ArithmeticPackage, BasicArrayPackage, BasicIteratorPackage, BasicMapPackage,
    BasicStringPackage, LogicPackage, MoreStringPackage, Package,
};
use rhai::{Dynamic, Engine, EvalAltResult, FLOAT, INT, OptimizationLevel, Position};

/// Limits of a routine; the same on every module.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Steps of one run: expressions and statements, as the language counts them.
    pub operations: u64,
    /// Functions that may be under way within one another.
    pub call_levels: usize,
    /// Levels of nesting of an expression or a block.
    pub expression_depth: usize,
    /// Functions of a routine.
    pub functions: usize,
    /// Variables at a time.
    pub variables: usize,
    /// Bytes of a text.
    pub text_bytes: usize,
    /// Items of an array, those of arrays within it included.
    pub items: usize,
    /// Entries of a map, those of maps within it included.
    pub entries: usize,
    /// Deeds of one run.
    pub deeds: usize,
    /// Characters of a line of the log.
    pub log_characters: usize,
    /// Bytes of its memory: texts by their bytes, every other value eight, every key its bytes.
    pub memory_bytes: usize,
    /// Bytes of its text.
    pub source_bytes: usize,
}

/// The limits of every routine.
pub const LIMITS: Limits = Limits {
    operations: 100_000,
    call_levels: 16,
    expression_depth: 32,
    functions: 64,
    variables: 128,
    text_bytes: 4096,
    items: 1024,
    entries: 256,
    deeds: 64,
    log_characters: 200,
    memory_bytes: 4096,
    source_bytes: 65_536,
};

/// Functions of the language that routines may call beside those of the module they run on; the rest is kept from them.
pub const FUNCTIONS: &[&str] = &[
    "abs",
    "all",
    "append",
    "ceil",
    "chars",
    "clear",
    "contains",
    "cos",
    "dedup",
    "drain",
    "ends_with",
    "exp",
    "extract",
    "filter",
    "find",
    "floor",
    "get",
    "index_of",
    "insert",
    "is_empty",
    "is_even",
    "is_odd",
    "is_zero",
    "keys",
    "len",
    "ln",
    "log10",
    "make_lower",
    "make_upper",
    "map",
    "max",
    "min",
    "mixin",
    "pad",
    "pop",
    "pow",
    "push",
    "range",
    "reduce",
    "remove",
    "replace",
    "retain",
    "reverse",
    "round",
    "set",
    "shift",
    "sign",
    "sin",
    "some",
    "sort",
    "split",
    "sqrt",
    "starts_with",
    "sub_string",
    "to_float",
    "to_int",
    "to_lower",
    "to_string",
    "to_upper",
    "trim",
    "truncate",
    "type_of",
    "values",
];

/// Words of the language that no routine has: texts that are run as programs, other files, output, and powers by the platform's mathematics.
const FORBIDDEN: &[&str] = &[
    "eval",
    "import",
    "export",
    "print",
    "debug",
    "Fn",
    "call",
    "curry",
    "**",
    "**=",
    "is_shared",
    "is_def_fn",
    "is_def_var",
];

/// Any fixed seed will do: it makes the hashes of the language the same in every process.
const HASHING_SEED: [u64; 4] = [0x736f_756e, 0x646c_696e, 0x6520_726f, 0x7574_696e];

/// Whether a word is one that the language keeps for itself, so that it cannot be a name.
#[must_use]
pub fn is_reserved(word: &str) -> bool {
    // Asked of the language itself: its words are no part of its interface.
    engine()
        .compile(format!("let {word} = 1; {word} + 1"))
        .is_err()
}

/// The language with its limits, without the functions of a module.
pub(crate) fn engine() -> Engine {
    static SEED: Once = Once::new();
    SEED.call_once(|| {
        // An error only says that a seed is set already; nobody else in the process sets one.
        let _ = rhai::config::hashing::set_hashing_seed(Some(HASHING_SEED));
    });
    let mut engine = Engine::new_raw();
    for module in [
        ArithmeticPackage::new().as_shared_module(),
        LogicPackage::new().as_shared_module(),
        BasicStringPackage::new().as_shared_module(),
        MoreStringPackage::new().as_shared_module(),
        BasicIteratorPackage::new().as_shared_module(),
        BasicArrayPackage::new().as_shared_module(),
        BasicMapPackage::new().as_shared_module(),
    ] {
        engine.register_global_module(module);
    }
    for word in FORBIDDEN {
        engine.disable_symbol(*word);
    }
    engine
        .set_optimization_level(OptimizationLevel::None)
        .set_max_operations(LIMITS.operations)
        .set_max_call_levels(LIMITS.call_levels)
        .set_max_expr_depths(LIMITS.expression_depth, LIMITS.expression_depth)
        .set_max_functions(LIMITS.functions)
        .set_max_variables(LIMITS.variables)
        .set_max_modules(0)
        .set_max_string_size(LIMITS.text_bytes)
        .set_max_array_size(LIMITS.items)
        .set_max_map_size(LIMITS.entries);
    mathematics(&mut engine);
    engine
}

/// Numbers: whole ones become decimal ones where a function is one of decimal numbers.
fn mathematics(engine: &mut Engine) {
    type OfOne = fn(FLOAT) -> FLOAT;
    let of_one: [(&str, OfOne); 10] = [
        ("sqrt", FLOAT::sqrt),
        ("exp", libm::exp),
        ("ln", libm::log),
        ("log10", libm::log10),
        ("sin", libm::sin),
        ("cos", libm::cos),
        ("floor", FLOAT::floor),
        ("ceil", FLOAT::ceil),
        ("round", libm::round),
        ("to_float", |x| x),
    ];
    for (name, f) in of_one {
        engine.register_fn(name, f);
        engine.register_fn(name, move |x: INT| f(x as FLOAT));
    }
    engine.register_fn("pow", |x: FLOAT, y: FLOAT| libm::pow(x, y));
    engine.register_fn("pow", |x: FLOAT, y: INT| libm::pow(x, y as FLOAT));
    engine.register_fn("pow", |x: INT, y: FLOAT| libm::pow(x as FLOAT, y));
    engine.register_fn("pow", |x: INT, y: INT| libm::pow(x as FLOAT, y as FLOAT));
    engine.register_fn("to_int", |x: INT| x);
    engine.register_fn("to_int", |x: FLOAT| -> Result<INT, Box<EvalAltResult>> {
        // 2^63 itself is no whole number of 64 bits.
        if (-9_223_372_036_854_775_808.0..9_223_372_036_854_775_808.0).contains(&x) {
            return Ok(x as INT);
        }
        Err(runtime(format!("{x} is no whole number of 64 bits")))
    });
}

/// An error of a function; the language adds the place at which it was called.
pub(crate) fn runtime(message: String) -> Box<EvalAltResult> {
    Box::new(EvalAltResult::ErrorRuntime(
        Dynamic::from(message),
        Position::NONE,
    ))
}
