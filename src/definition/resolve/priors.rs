//! Priors: which sorts of faults and which things the weights are about.

use super::Resolver;
use crate::definition::diagnostic::nearest;
use crate::definition::model::Sort;
use crate::definition::schema::Draft;

impl<'a> Resolver<'a> {
    pub(super) fn priors(&mut self, draft: &'a Draft) {
        for (key, weight) in &draft.prior.weights {
            let Some(sort) = Sort::parse(&key.value) else {
                let known = Sort::ALL.map(|(key, _)| key);
                let help = match nearest(&key.value, known.iter().copied()) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => format!(
                        "sorts of faults are: {}; how likely one thing fails stands under [prior.times]",
                        known.join(", ")
                    ),
                };
                let message = format!("no sort of fault is called `{}`", key.value);
                self.error("prior", key.place, message, Some(help));
                continue;
            };
            self.harness.priors.weights.insert(sort, *weight);
        }
        for (name, times) in &draft.prior.times {
            let Some(thing) = self.harness.names.things.get(&name.value).copied() else {
                let help = "name a connector, splice, terminal, part or wire of this machine".to_owned();
                let message = format!("nothing is called `{}`", name.value);
                self.error("unknown-name", name.place, message, Some(help));
                continue;
            };
            self.harness.priors.times.insert(thing, *times);
        }
    }
}
