//! What is wrong with a routine, and where.

use rhai::{EvalAltResult, ParseError, ParseErrorType, Position};

use crate::language::LIMITS;

/// A mistake in a routine, or why it stopped.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Line of its text, from 1; absent where it stands nowhere.
    pub line: Option<usize>,
    /// Column, from 1, counted in characters.
    pub column: Option<usize>,
    /// What is wrong.
    pub message: String,
    /// How to mend it, where that is known.
    pub help: Option<String>,
}

impl Fault {
    pub(crate) fn at(position: Position, message: impl Into<String>) -> Fault {
        Fault {
            line: position.line(),
            column: position.position(),
            message: message.into(),
            help: None,
        }
    }

    pub(crate) fn help(mut self, help: impl Into<String>) -> Fault {
        self.help = Some(help.into());
        self
    }

    pub(crate) fn of_parsing(error: &ParseError) -> Fault {
        let fault = Fault::at(error.position(), error.err_type().to_string());
        match error.err_type() {
            ParseErrorType::VariableUndefined(name) => Fault {
                message: format!("nothing is called `{name}`"),
                ..fault
            }
            .help(
                "bind it with `names` or `settings` of the behaviour, or declare it with `let` or `const`; what a routine remembers is `this`",
            ),
            ParseErrorType::ExprTooDeep => Fault {
                message: format!(
                    "this is nested deeper than {} levels",
                    LIMITS.expression_depth
                ),
                ..fault
            },
            ParseErrorType::TooManyFunctions => Fault {
                message: format!("a routine has at most {} functions", LIMITS.functions),
                ..fault
            },
            _ => fault,
        }
    }

    pub(crate) fn of_running(mut error: EvalAltResult) -> Fault {
        // The innermost place that is known is where it went wrong.
        let mut position = error.position();
        while let EvalAltResult::ErrorInFunctionCall(_, _, inner, _) = error {
            error = *inner;
            position = error.position().or_else(position);
        }
        error.clear_position();
        let message = match &error {
            EvalAltResult::ErrorTooManyOperations(_) => {
                format!("it takes more than {} steps", LIMITS.operations)
            }
            EvalAltResult::ErrorStackOverflow(_) => format!(
                "its functions call each other deeper than {} levels",
                LIMITS.call_levels
            ),
            EvalAltResult::ErrorTooManyVariables(_) => {
                format!("it has more than {} variables at a time", LIMITS.variables)
            }
            EvalAltResult::ErrorDataTooLarge(..) => format!(
                "a value grows too large: a text has at most {} bytes, an array {} items, a map {} entries",
                LIMITS.text_bytes, LIMITS.items, LIMITS.entries
            ),
            EvalAltResult::ErrorRuntime(thrown, _) => thrown.to_string(),
            other => other.to_string(),
        };
        Fault::at(position, message)
    }
}
