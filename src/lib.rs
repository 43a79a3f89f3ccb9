//! `ringout` proves every path of a wiring harness end to end: it reads one definition of a machine's
//! wiring, plans the readings that prove it, and reasons from readings to the segment at fault.
//!
//! Comes in: text, a definition and a record of readings. Goes out: values that print as tables, JSON
//! or drawings. Why a library: everything but [`cli`] is free of files, clock, threads and terminal, so
//! the same reasoning serves a command line, a test bench or a page in a browser.
//!
//! The flow in ten lines:
//!
//! ```
//! use ringout::{definition, locate, measure::Meter, netlist::Netlist, plan, record};
//!
//! let text = r#"
//!     format = 1
//!     harness = { id = "LEAD-1", title = "A lead", revision = "A" }
//!     connector.X1 = { contacts = ["1", "2"] }
//!     connector.X2 = { contacts = ["1", "2"] }
//!     wire = [
//!         { id = "1A", from = "X1.1", to = "X2.1", gauge = "1 mm2", length = "2 m" },
//!         { id = "2A", from = "X1.2", to = "X2.2", gauge = "1 mm2", length = "2 m" },
//!     ]
//! "#;
//! let loaded = definition::load("lead.toml", text.to_owned(), None, &mut |_| Err("no files".to_owned()))?;
//! let harness = loaded.harness;
//! let netlist = Netlist::new(&harness);
//! let plan = plan::plan(&harness, &netlist, &plan::Scope::default(), Meter::HANDHELD)?;
//! assert_eq!(plan.steps().count(), 2);
//!
//! let reading = r#"
//!     [[reading]]
//!     kind = "continuity"
//!     red = "X1.1"
//!     black = "X2.1"
//!     power = "isolated"
//!     value = "open"
//! "#;
//! let record = record::read(&harness, "record.toml", reading);
//! let diagnosis = locate::locate(&harness, &netlist, &record.entries, &Meter::HANDHELD)?;
//! assert_eq!(diagnosis.verdict, locate::Verdict::Located);
//! assert!(diagnosis.suspects[0].faults.iter().any(|fault| fault.id(&harness) == "1A:open"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! The rooms, each of which imports only from those before it: [`units`], [`conductor`],
//! [`definition`], [`netlist`], [`setup`], [`circuit`], [`measure`], [`fault`], [`audit`], [`plan`], [`verify`],
//! [`record`], [`locate`], [`study`], [`compare`], [`repair`], [`exchange`], [`learn`], [`draw`], [`sheet`], [`guide`], [`cli`].

pub mod audit;
pub mod circuit;
pub mod cli;
pub mod compare;
pub mod conductor;
pub mod definition;
pub mod draw;
pub mod exchange;
pub mod fault;
pub mod guide;
pub mod learn;
pub mod locate;
pub mod measure;
pub mod netlist;
pub mod plan;
pub mod record;
pub mod repair;
pub mod setup;
pub mod sheet;
pub mod study;
pub mod units;
pub mod verify;
