//! Index newtypes and the tables they index.
//!
//! Names are for people and live at the edges; inside, everything is a small number that can only
//! index the table it was made for.

use std::marker::PhantomData;
use std::ops::Index;

/// An index into one [`Table`].
pub trait Id: Copy + Ord {
    /// From a position in its table.
    fn from_index(index: usize) -> Self;
    /// Its position in its table.
    fn index(self) -> usize;
}

/// Makes an index newtype; they differ in name alone.
macro_rules! id {
    ($($(#[$doc:meta])* $name:ident;)+) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(u32);
        impl Id for $name {
            fn from_index(index: usize) -> Self {
                Self(index as u32)
            }
            fn index(self) -> usize {
                self.0 as usize
            }
        }
    )+};
}

id! {
    /// A place where a person stands.
    StationId;
    /// A connector.
    ConnectorId;
    /// A contact of a connector.
    ContactId;
    /// Two connectors plugged together.
    MatingId;
    /// A splice.
    SpliceId;
    /// A terminal.
    TerminalId;
    /// A wire segment.
    WireId;
    /// A stretch of bundle.
    TrunkId;
    /// Anything that is not wire.
    PartId;
    /// A state of the machine that someone brings about.
    ConditionId;
}

/// A growing list that hands out typed indices.
#[derive(Debug, Clone)]
pub struct Table<I, T> {
    items: Vec<T>,
    id: PhantomData<I>,
}

impl<I, T> Default for Table<I, T> {
    fn default() -> Self {
        Self { items: Vec::new(), id: PhantomData }
    }
}

impl<I: Id, T> Table<I, T> {
    /// Adds an item and says where it went.
    pub fn push(&mut self, item: T) -> I {
        self.items.push(item);
        I::from_index(self.items.len() - 1)
    }

    /// How many items there are.
    pub fn len(&self) -> usize {
        self.items.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.items.is_empty()
    }

    /// All items in order.
    pub fn values(&self) -> impl DoubleEndedIterator<Item = &T> + ExactSizeIterator + Clone {
        self.items.iter()
    }

    /// All items in order, with their indices.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = (I, &T)> + ExactSizeIterator {
        self.items.iter().enumerate().map(|(at, item)| (I::from_index(at), item))
    }

    /// All indices in order.
    pub fn ids(&self) -> impl DoubleEndedIterator<Item = I> + ExactSizeIterator + use<I, T> {
        (0..self.items.len()).map(I::from_index)
    }

    /// Changes an item in place; only the resolver builds and completes harnesses.
    pub(in crate::definition) fn get_mut(&mut self, id: I) -> &mut T {
        &mut self.items[id.index()]
    }
}

impl<I: Id, T> Index<I> for Table<I, T> {
    type Output = T;
    fn index(&self, id: I) -> &T {
        &self.items[id.index()]
    }
}
