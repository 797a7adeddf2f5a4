//! Where in the file a value stands.

use std::ops::Range;

use super::tree::Node;
use super::uses::Step;

/// A place in the tree; the nearest table round it where the file leaves the key out.
#[derive(Clone)]
pub(in crate::definition) struct At<'t> {
    pub span: Range<usize>,
    pub value: Option<&'t Node>,
}

impl<'t> At<'t> {
    fn of(node: &'t Node) -> Self {
        Self {
            span: node.span.clone(),
            value: Some(node),
        }
    }

    fn or_here(&self, node: Option<&'t Node>) -> Self {
        node.map_or(
            At {
                span: self.span.clone(),
                value: None,
            },
            At::of,
        )
    }

    pub(in crate::definition) fn root(root: &'t Node, key: &str) -> Self {
        root.get(key).map_or(
            At {
                span: 0..0,
                value: None,
            },
            At::of,
        )
    }

    pub(in crate::definition) fn key(&self, key: &str) -> Self {
        self.or_here(self.value.and_then(|v| v.get(key)))
    }

    /// The name `key` itself, where it stands in the file.
    pub(in crate::definition) fn name(&self, key: &str) -> Self {
        let table = self.value.and_then(Node::as_table);
        let entry = table.and_then(|t| t.get(key));
        At {
            span: entry.map_or(self.span.clone(), |e| e.key.clone()),
            value: None,
        }
    }

    pub(in crate::definition) fn index(&self, index: usize) -> Self {
        let items = self.value.and_then(Node::as_array);
        self.or_here(items.and_then(|i| i.get(index)))
    }

    pub(in crate::definition) fn along(&self, path: &[Step]) -> Self {
        path.iter().fold(self.clone(), |at, step| match step {
            Step::Key(key) => at.key(key),
            Step::Index(index) => at.index(*index),
        })
    }
}
