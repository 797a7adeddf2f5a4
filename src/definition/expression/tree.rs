//! From text to the tree of CEL, within limits.

use std::collections::BTreeSet;
use std::ops::Range;

use cel::common::ast::{CallExpr, Expr, IdedExpr, LiteralValue, SourceInfo};
use cel::parser::Parser;

/// Longest expression, bytes. A display's own formulas take a tenth of it.
const LONGEST: usize = 1000;
/// Deepest nesting that the parser takes.
const DEEPEST: u16 = 40;
/// Deepest tree: a sum of so many terms.
pub(super) const DEEPEST_TREE: usize = 100;
/// What is wrong with an expression, and the bytes of it that say so.
#[derive(Debug)]
pub(in crate::definition) struct Fault {
    pub range: Range<usize>,
    pub message: String,
    pub help: Option<String>,
}

/// An expression that CEL's parser took.
pub(super) struct Parsed {
    pub root: IdedExpr,
    pub places: SourceInfo,
}

pub(super) fn whole(text: &str, message: String) -> Fault {
    Fault {
        range: 0..text.len(),
        message,
        help: None,
    }
}

/// Byte at which a line and column of CEL's errors (both from 1, columns in characters) stand.
fn byte_at(text: &str, (line, column): (isize, isize)) -> usize {
    let line = usize::try_from(line - 1).unwrap_or(0);
    let column = usize::try_from(column - 1).unwrap_or(0);
    let begin: usize = text.split_inclusive('\n').take(line).map(str::len).sum();
    let rest = text.get(begin..).unwrap_or("");
    begin + rest.chars().take(column).map(char::len_utf8).sum::<usize>()
}

/// Stack for reading expressions, bytes: the parser goes some frames deeper for each operation of the longest one. Only what
/// is used of it takes memory.
const STACK_BYTES: usize = 64 << 20;

/// Runs `work` on a stack that [`parse`] cannot exhaust; `None` when there is no thread for it, or it panics.
pub(super) fn on_large_stack<T: Send>(work: impl FnOnce() -> T + Send) -> Option<T> {
    std::thread::scope(|scope| {
        let thread = std::thread::Builder::new().stack_size(STACK_BYTES);
        thread.spawn_scoped(scope, work).ok()?.join().ok()
    })
}

/// Reads CEL. Needs [`on_large_stack`].
pub(super) fn parse(text: &str) -> Result<Parsed, Fault> {
    if text.trim().is_empty() {
        return Err(whole(text, "the expression is empty".into()));
    }
    if text.len() > LONGEST {
        let length = text.len();
        let message = format!(
            "the expression has {length} bytes; at most {LONGEST} are read (divide it among several channels)"
        );
        return Err(whole(text, message));
    }
    let parser = Parser::new().max_recursion_depth(DEEPEST);
    match parser.parse_with_source_info(text) {
        Ok((root, places)) => Ok(Parsed { root, places }),
        Err(errors) => {
            let Some(first) = errors.errors.first() else {
                return Err(whole(text, "not an expression of CEL".into()));
            };
            if first.msg.contains("ecursion") {
                let message = format!("the expression is nested more than {DEEPEST} deep");
                return Err(whole(text, message));
            }
            let at = byte_at(text, first.pos);
            // What could stand there is a list of nearly all tokens.
            let (what, _) = first
                .msg
                .split_once(" expecting ")
                .unwrap_or((&first.msg, ""));
            let what = what.trim_start_matches("Syntax error: ");
            let what = what.replace("'<EOF>'", "the end of the expression");
            let length = text
                .get(at..)
                .and_then(|t| t.chars().next())
                .map_or(0, char::len_utf8);
            Err(Fault {
                range: at..at + length,
                message: format!("not an expression of CEL: {what}"),
                help: None,
            })
        }
    }
}

impl Parsed {
    /// Names of channels that the expression may mean, whether there are such channels or not.
    pub(super) fn names(&self) -> BTreeSet<String> {
        fn gather(node: &IdedExpr, names: &mut BTreeSet<String>) {
            if let Some(name) = dotted(node) {
                names.insert(name);
                return;
            }
            match &node.expr {
                Expr::Call(call) => {
                    if let Some(name) = named_channel(call) {
                        names.insert(name.to_owned());
                    }
                    let parts = call.target.as_deref().into_iter().chain(&call.args);
                    parts.for_each(|part| gather(part, names));
                }
                Expr::List(list) => list.elements.iter().for_each(|part| gather(part, names)),
                _ => {}
            }
        }
        let mut names = BTreeSet::new();
        if depth_within(&self.root, DEEPEST_TREE) {
            gather(&self.root, &mut names);
        }
        names
    }
}

/// The name that identifiers joined by dots spell.
pub(super) fn dotted(node: &IdedExpr) -> Option<String> {
    let mut parts = Vec::new();
    let mut expr = &node.expr;
    loop {
        match expr {
            Expr::Ident(name) => {
                parts.push(name.as_str());
                parts.reverse();
                return Some(parts.join("."));
            }
            Expr::Select(select) if !select.test => {
                parts.push(&select.field);
                expr = &select.operand.expr;
            }
            _ => return None,
        }
    }
}

/// The name in `channel("name")`.
pub(super) fn named_channel(call: &CallExpr) -> Option<&str> {
    match (call.func_name.as_str(), &call.target, call.args.as_slice()) {
        ("channel", None, [arg]) => match &arg.expr {
            Expr::Literal(LiteralValue::String(name)) => Some(name.inner()),
            _ => None,
        },
        _ => None,
    }
}

/// Whether no part lies deeper than `depth`; looks no deeper than that.
pub(super) fn depth_within(node: &IdedExpr, depth: usize) -> bool {
    let Some(rest) = depth.checked_sub(1) else {
        return false;
    };
    match &node.expr {
        Expr::Call(call) => {
            let mut parts = call.target.as_deref().into_iter().chain(&call.args);
            parts.all(|part| depth_within(part, rest))
        }
        Expr::List(list) => list.elements.iter().all(|part| depth_within(part, rest)),
        Expr::Select(select) => depth_within(&select.operand, rest),
        // Neither is looked into.
        _ => true,
    }
}
