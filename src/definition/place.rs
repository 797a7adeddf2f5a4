//! Where in the file a value stands.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::uses::Step;

/// A place in the tree; the nearest table round it where the file leaves the key out.
#[derive(Clone)]
pub(in crate::definition) struct At<'t> {
    pub span: Range<usize>,
    pub value: Option<&'t DeValue<'t>>,
}

impl<'t> At<'t> {
    fn of(node: &'t Spanned<DeValue<'t>>) -> Self {
        Self {
            span: node.span(),
            value: Some(node.get_ref()),
        }
    }

    pub(in crate::definition) fn root(root: &'t DeTable<'t>, key: &str) -> Self {
        root.get(key).map_or(
            At {
                span: 0..0,
                value: None,
            },
            At::of,
        )
    }

    pub(in crate::definition) fn key(&self, key: &str) -> Self {
        match self.value.and_then(|v| v.get(key)) {
            Some(node) => At::of(node),
            None => At {
                span: self.span.clone(),
                value: None,
            },
        }
    }

    /// The name `key` itself, where it stands in the file.
    pub(in crate::definition) fn name(&self, key: &str) -> Self {
        let entry = self
            .value
            .and_then(DeValue::as_table)
            .and_then(|t| t.get_key_value(key));
        At {
            span: entry.map_or(self.span.clone(), |(name, _)| name.span()),
            value: None,
        }
    }

    pub(in crate::definition) fn index(&self, index: usize) -> Self {
        match self.value.and_then(|v| v.get(index)) {
            Some(node) => At::of(node),
            None => At {
                span: self.span.clone(),
                value: None,
            },
        }
    }

    pub(in crate::definition) fn along(&self, path: &[Step]) -> Self {
        path.iter().fold(self.clone(), |at, step| match step {
            Step::Key(key) => at.key(key),
            Step::Index(index) => at.index(*index),
        })
    }
}
