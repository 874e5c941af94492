//! What a handler reads of what it is called with: keys that are never there, and comparisons that never hold.
//!
//! Told is only what is certain before a run. A handler that changes or shadows its parameter, or that its own text calls, is left alone, and so are fields where it is not
//! known what the message holds.

use quantity::nearest;
use rhai::{AST, ASTNode, Expr, FnCallExpr, Position, Stmt};

use crate::binding::{Binding, FieldKind, Setting, Shape};
use crate::fault::Fault;
use crate::program::{Failed, Handler};

/// Keys of what `when_heard` is called with, and what they hold.
const EVENT: &[(&str, Key)] = &[
    ("detector", Key::Text),
    ("notice", Key::Words(&["onset", "confirmed", "ended"])),
    ("level", Key::Number),
    ("peak", Key::Number),
    ("background", Key::Number),
    ("score", Key::Number),
    ("length", Key::Number),
    ("interval", Key::Number),
    ("from", Key::Number),
    ("to", Key::Number),
    ("pulses", Key::Number),
    ("begin", Key::Number),
    ("end", Key::Number),
];

const MESSAGE: &[(&str, Key)] = &[("topic", Key::Text), ("values", Key::Values)];

const QUESTION: &[(&str, Key)] = &[("request", Key::Text), ("values", Key::Values)];

const ANSWER: &[(&str, Key)] = &[
    ("request", Key::Text),
    ("values", Key::Values),
    ("after", Key::Number),
    (
        "failed",
        Key::Words(&[
            Failed::InTime.word(),
            Failed::NoWay.word(),
            Failed::Refused.word(),
        ]),
    ),
];

/// Methods that leave alone what they are called on.
const READING: &[&str] = &["contains", "get", "is_empty", "keys", "len", "values"];

#[derive(Clone, Copy)]
enum Key {
    Number,
    Text,
    Words(&'static [&'static str]),
    /// The map of the fields.
    Values,
}

impl Handler {
    /// The keys of its parameter.
    fn keys(self) -> &'static [(&'static str, Key)] {
        match self {
            Handler::Heard => EVENT,
            Handler::Told => MESSAGE,
            Handler::Asked => QUESTION,
            Handler::Answered => ANSWER,
            Handler::Voted | Handler::Each => &[],
        }
    }

    /// What the fields in its parameter belong to, in a sentence.
    fn kind(self) -> &'static str {
        match self {
            Handler::Asked => "question",
            Handler::Answered => "answer",
            _ => "topic",
        }
    }

    /// What may come to it, as far as its fields are known.
    fn comes(self, binding: &Binding) -> &[Shape] {
        match self {
            Handler::Told => &binding.told,
            Handler::Asked => &binding.asked,
            Handler::Answered => &binding.answered,
            _ => &[],
        }
    }
}

/// Adds to the mistakes what a handler reads that is never there, and to the warnings what it compares that is never so.
pub(crate) fn read_by_handlers(
    ast: &AST,
    binding: &Binding,
    own: impl Fn(&str) -> bool,
    (faults, warnings): (&mut Vec<Fault>, &mut Vec<Fault>),
) {
    let functions: &rhai::Module = ast.as_ref();
    for (.., function) in functions.iter_script_fn_info() {
        let handler = Handler::ALL.into_iter().find(|h| function.name == h.word());
        let (Some(handler), [parameter]) = (handler, &*function.params) else {
            continue;
        };
        if handler.keys().is_empty() || named_in(ast, handler.word()) {
            continue;
        }
        let reader = Reader {
            handler,
            parameter: parameter.as_str(),
            binding,
        };
        let body = ast.clone_functions_only_filtered(|_, _, _, name, parameters| {
            name == handler.word() && parameters == 1
        });
        let mut kept = true;
        let walk = |on_node: &mut dyn FnMut(&[ASTNode<'_>])| {
            body.walk(&mut |path: &[ASTNode<'_>]| {
                on_node(path);
                true
            });
        };
        walk(&mut |path| kept &= reader.keeps(path, &own));
        if !kept {
            continue;
        }
        walk(&mut |path| match path.last() {
            Some(ASTNode::Expr(expr)) => {
                if let Some(chain) = chain(expr) {
                    faults.extend(reader.missing(&chain));
                }
                if let Expr::FnCall(call, _) = expr {
                    warnings.extend(reader.compared(call));
                }
            }
            Some(ASTNode::Stmt(Stmt::FnCall(call, _))) => warnings.extend(reader.compared(call)),
            _ => {}
        });
    }
}

/// Whether a text calls a function, or hands it on.
pub(crate) fn named_in(ast: &AST, function: &str) -> bool {
    let mut named = false;
    ast.walk(&mut |path: &[ASTNode<'_>]| {
        named |= match path.last() {
            Some(
                ASTNode::Stmt(Stmt::FnCall(call, _))
                | ASTNode::Expr(Expr::FnCall(call, _) | Expr::MethodCall(call, _)),
            ) => call.name == function,
            Some(ASTNode::Expr(Expr::Variable(variable, ..))) => variable.1 == function,
            _ => false,
        };
        true
    });
    named
}

/// `name.key.key`, with the places of the keys.
struct Chain<'e> {
    name: &'e str,
    keys: Vec<(&'e str, Position)>,
    /// Nothing stands behind the last key.
    whole: bool,
    /// The method that stands behind it.
    method: Option<&'e str>,
}

fn chain(expr: &Expr) -> Option<Chain<'_>> {
    let (pair, mut dotted) = match expr {
        Expr::Dot(pair, ..) => (pair, true),
        Expr::Index(pair, ..) => (pair, false),
        _ => return None,
    };
    let Expr::Variable(variable, ..) = &pair.lhs else {
        return None;
    };
    let mut chain = Chain {
        name: variable.1.as_str(),
        keys: Vec::new(),
        whole: false,
        method: None,
    };
    let mut rest = &pair.rhs;
    loop {
        let (key, next) = match rest {
            Expr::Dot(pair, ..) => (&pair.lhs, Some((&pair.rhs, true))),
            Expr::Index(pair, ..) => (&pair.lhs, Some((&pair.rhs, false))),
            last => (last, None),
        };
        match key {
            Expr::Property(property, at) if dotted => chain.keys.push((property.2.as_str(), *at)),
            Expr::StringConstant(key, at) if !dotted => chain.keys.push((key.as_str(), *at)),
            Expr::MethodCall(call, _) if dotted => {
                chain.method = Some(call.name.as_str());
                return Some(chain);
            }
            _ => return Some(chain),
        }
        match next {
            Some(more) => (rest, dotted) = more,
            None => {
                chain.whole = true;
                return Some(chain);
            }
        }
    }
}

/// What one side of a comparison holds.
enum Side<'e> {
    Number,
    Flag,
    Text(Option<&'e str>),
    Words(Vec<&'e str>),
}

impl Side<'_> {
    fn what(&self) -> &'static str {
        match self {
            Side::Number => "a number",
            Side::Flag => "true or false",
            Side::Text(_) | Side::Words(_) => "a text",
        }
    }
}

struct Reader<'a> {
    handler: Handler,
    parameter: &'a str,
    binding: &'a Binding,
}

impl Reader<'_> {
    /// Whether the parameter still is what it was called with after this node.
    fn keeps(&self, path: &[ASTNode<'_>], own: &impl Fn(&str) -> bool) -> bool {
        let is_it = |name: &str| name == self.parameter;
        let Some((last, before)) = path.split_last() else {
            return true;
        };
        match last {
            ASTNode::Stmt(Stmt::Var(variable, ..)) => !is_it(&variable.0.name),
            ASTNode::Stmt(Stmt::For(each, _)) => {
                !is_it(&each.0.name) && each.1.as_ref().is_none_or(|c| !is_it(&c.name))
            }
            ASTNode::Stmt(Stmt::TryCatch(control, _)) => {
                !matches!(&control.expr, Expr::Variable(v, ..) if is_it(&v.1))
            }
            ASTNode::Stmt(Stmt::Share(all)) => !all.iter().any(|(name, _)| is_it(&name.name)),
            ASTNode::Stmt(Stmt::Assignment(both)) => match &both.1.lhs {
                Expr::Variable(v, ..) => !is_it(&v.1),
                to => chain(to).is_none_or(|chain| !is_it(chain.name)),
            },
            ASTNode::Expr(expr @ (Expr::Dot(..) | Expr::Index(..))) => {
                let Some(chain) = chain(expr).filter(|c| is_it(c.name)) else {
                    return true;
                };
                // What a method may change: the parameter itself, or the map of its fields.
                let shallow = matches!(chain.keys.as_slice(), [] | [("values", _)]);
                chain.whole
                    || !shallow
                    || chain
                        .method
                        .is_some_and(|m| READING.contains(&m) && !own(m))
            }
            // A function of the language may change what it is called with.
            ASTNode::Expr(Expr::Variable(v, ..)) if is_it(&v.1) => match before.last() {
                Some(
                    ASTNode::Expr(Expr::FnCall(call, _)) | ASTNode::Stmt(Stmt::FnCall(call, _)),
                ) => call.op_token.is_some() || own(&call.name),
                _ => true,
            },
            _ => true,
        }
    }

    /// A key that is never there.
    fn missing(&self, chain: &Chain<'_>) -> Option<Fault> {
        if chain.name != self.parameter {
            return None;
        }
        let (key, at) = *chain.keys.first()?;
        let keys = self.handler.keys();
        let Some((_, holds)) = keys.iter().find(|(k, _)| *k == key) else {
            let names = || keys.iter().map(|(k, _)| *k);
            let fault = Fault::at(
                at,
                format!(
                    "`{}` of `{}` never has `{key}`",
                    self.parameter,
                    self.handler.word()
                ),
            );
            return Some(match nearest(key, names()) {
                Some(near) => fault.help(format!("did you mean `{near}`?")),
                None => fault.help(format!(
                    "it has: {}",
                    names().collect::<Vec<_>>().join(", ")
                )),
            });
        };
        let (Key::Values, Some((field, at))) = (holds, chain.keys.get(1).copied()) else {
            return None;
        };
        let comes = self.handler.comes(self.binding);
        let names = || {
            comes
                .iter()
                .flat_map(|s| &s.fields)
                .map(|f| f.name.as_str())
        };
        if comes.is_empty() || names().any(|n| n == field) {
            return None;
        }
        let kind = self.handler.kind();
        let who = match comes {
            [one] => one.what(kind),
            all => {
                let all: Vec<String> = all.iter().map(|s| s.what(kind)).collect();
                format!("none of {}", all.join(", "))
            }
        };
        let has = if comes.len() == 1 { "has no" } else { "has a" };
        let fault = Fault::at(at, format!("{who} {has} field `{field}`"));
        Some(match nearest(field, names()) {
            Some(near) => fault.help(format!("did you mean `{near}`?")),
            None => fault.help(format!(
                "there is: {}",
                names().collect::<Vec<_>>().join(", ")
            )),
        })
    }

    /// A comparison that comes out the same in every run.
    fn compared(&self, call: &FnCallExpr) -> Option<Fault> {
        const COMPARING: [&str; 6] = ["==", "!=", "<", "<=", ">", ">="];
        let (true, [left, right]) = (COMPARING.contains(&call.name.as_str()), &*call.args) else {
            return None;
        };
        let (read, other) = match (self.read(left), self.read(right)) {
            (Some(read), None) => ((left, read), right),
            (None, Some(read)) => ((right, read), left),
            _ => return None,
        };
        let ((expr, is), with) = (read, self.constant(other)?);
        let name = chain(expr)?.keys.last()?.0;
        let at = other.position();
        match (&is, &with) {
            (Side::Words(words), Side::Text(Some(text))) => {
                if words.contains(text) {
                    return None;
                }
                let fault = Fault::at(at, format!("`{name}` is never \"{text}\""));
                Some(match nearest(text, words.iter().copied()) {
                    Some(near) => fault.help(format!("did you mean \"{near}\"?")),
                    None => fault.help(format!("it is one of: {}", words.join(", "))),
                })
            }
            _ if is.what() == with.what() => None,
            _ => Some(
                Fault::at(
                    at,
                    format!(
                        "`{name}` is {}, and is compared with {}: that comes out the same each time",
                        is.what(),
                        with.what()
                    ),
                )
                .help(format!("compare it with {}", is.what())),
            ),
        }
    }

    /// What a chain of the parameter holds, where it is something.
    fn read<'e>(&'e self, expr: &'e Expr) -> Option<Side<'e>> {
        let chain = chain(expr).filter(|c| c.whole && c.name == self.parameter)?;
        let key = chain.keys.first()?.0;
        let (_, holds) = self.handler.keys().iter().find(|(k, _)| *k == key)?;
        match (holds, chain.keys.as_slice()) {
            (Key::Number, [_]) => Some(Side::Number),
            (Key::Text, [_]) => Some(Side::Text(None)),
            (Key::Words(words), [_]) => Some(Side::Words(words.to_vec())),
            (Key::Values, [_, (field, _)]) => self.field(field),
            _ => None,
        }
    }

    /// What a field holds, where all that may come agree on it.
    fn field(&self, name: &str) -> Option<Side<'_>> {
        let comes = self.handler.comes(self.binding);
        let all = comes.iter().flat_map(|s| &s.fields);
        let mut sides = all.filter(|f| f.name == name).map(|f| match &f.kind {
            FieldKind::Number | FieldKind::Time => Side::Number,
            FieldKind::Flag => Side::Flag,
            FieldKind::Choice(words) => Side::Words(words.iter().map(String::as_str).collect()),
        });
        let first = sides.next()?;
        sides.try_fold(first, |so_far, more| match (so_far, more) {
            (Side::Words(mut words), Side::Words(more)) => {
                words.extend(more);
                Some(Side::Words(words))
            }
            (Side::Number, Side::Number) => Some(Side::Number),
            (Side::Flag, Side::Flag) => Some(Side::Flag),
            _ => None,
        })
    }

    /// What a literal or a setting holds.
    fn constant<'e>(&'e self, expr: &'e Expr) -> Option<Side<'e>> {
        match expr {
            Expr::IntegerConstant(..) | Expr::FloatConstant(..) => Some(Side::Number),
            Expr::BoolConstant(..) => Some(Side::Flag),
            Expr::StringConstant(text, _) => Some(Side::Text(Some(text.as_str()))),
            Expr::Variable(variable, ..) => {
                let mut settings = self.binding.settings.iter();
                let (_, setting) = settings.find(|(name, _)| *name == variable.1.as_str())?;
                Some(match setting {
                    Setting::Number(_) | Setting::Whole(_) => Side::Number,
                    Setting::Flag(_) => Side::Flag,
                    Setting::Text(text) => Side::Text(Some(text)),
                })
            }
            _ => None,
        }
    }
}
