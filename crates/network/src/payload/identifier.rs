//! Names of a plan as names in generated code, and text in its comments.

use std::collections::BTreeSet;

/// Words that C99 or C++ keeps for itself, those that headers of C99 define, and two that compilers define.
const RESERVED: &[&str] = &[
    "alignas",
    "alignof",
    "and",
    "and_eq",
    "asm",
    "auto",
    "bitand",
    "bitor",
    "bool",
    "break",
    "case",
    "catch",
    "char",
    "class",
    "compl",
    "const",
    "const_cast",
    "constexpr",
    "continue",
    "decltype",
    "default",
    "delete",
    "do",
    "double",
    "dynamic_cast",
    "else",
    "enum",
    "explicit",
    "export",
    "extern",
    "false",
    "float",
    "for",
    "friend",
    "goto",
    "if",
    "inline",
    "int",
    "linux",
    "long",
    "mutable",
    "namespace",
    "new",
    "noexcept",
    "not",
    "not_eq",
    "nullptr",
    "operator",
    "or",
    "or_eq",
    "private",
    "protected",
    "public",
    "register",
    "reinterpret_cast",
    "restrict",
    "return",
    "short",
    "signed",
    "sizeof",
    "static",
    "static_assert",
    "static_cast",
    "struct",
    "switch",
    "template",
    "this",
    "thread_local",
    "throw",
    "true",
    "try",
    "typedef",
    "typeid",
    "typename",
    "union",
    "unix",
    "unsigned",
    "using",
    "virtual",
    "void",
    "volatile",
    "wchar_t",
    "while",
    "xor",
    "xor_eq",
];

/// A name in lower-case letters, digits and underscores: `alert/call` becomes `alert_call`. `before` leads a name that has no letter in front.
#[must_use]
pub fn identifier(text: &str, before: &str) -> String {
    let mut word = String::new();
    for c in text.chars() {
        if c.is_ascii_alphanumeric() {
            word.push(c.to_ascii_lowercase());
        } else if !word.is_empty() && !word.ends_with('_') {
            word.push('_');
        }
    }
    let word = word.trim_end_matches('_');
    if !word.starts_with(|c: char| c.is_ascii_alphabetic()) {
        return format!("{before}_{word}").trim_end_matches('_').to_owned();
    }
    if RESERVED.contains(&word) {
        return format!("{word}_");
    }
    word.to_owned()
}

/// Names that must differ.
#[derive(Default)]
pub(super) struct Names(BTreeSet<String>);

impl Names {
    /// The name, with a number behind it when it has been taken before.
    pub(super) fn take(&mut self, name: String) -> String {
        let mut free = name.clone();
        let mut number = 2;
        while !self.0.insert(free.clone()) {
            free = format!("{name}_{number}");
            number += 1;
        }
        free
    }
}

/// A text for a comment: what could end the comment, or is no ASCII, is an underscore; a micro sign is a u.
#[must_use]
pub fn comment(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\u{b5}' | '\u{3bc}' => 'u',
            ' ' | '/' | '-' | '.' | ',' | ':' | '+' | '(' | ')' | '%' | '<' | '>' | '=' | '^' => c,
            c if c.is_ascii_alphanumeric() => c,
            _ => '_',
        })
        .collect()
}
