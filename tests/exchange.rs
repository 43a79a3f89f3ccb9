//! Import and export of tables: what is understood, what is asked, what is rejected, and that nothing is lost.

#![allow(clippy::unwrap_used, reason = "a test's helpers fail by panicking")]

#[path = "support/machine.rs"]
mod machine;

use std::collections::BTreeSet;

use proptest::prelude::*;
use ringout::definition::{Harness, Point, Wire};
use ringout::exchange::export::{csv, pins_table, wires_table};
use ringout::exchange::{
    About, Blank, Dash, Grid, Imported, Joined, Options, Unclear, import, mend, read_csv, rejects_csv,
};

fn about() -> About {
    About { id: "TRY-1".to_owned(), title: String::new(), revision: "A".to_owned() }
}

fn grid(text: &str) -> Grid {
    read_csv(text.as_bytes(), Some(b','), None).unwrap()
}

fn read(text: &str, options: &Options) -> Result<Imported, Box<Unclear>> {
    import(&grid(text), "try.csv", &about(), options)
}

fn harness(imported: &Imported) -> &Harness {
    match &imported.loaded {
        Ok(loaded) => &loaded.harness,
        Err(rejected) => panic!("{rejected}: {:?}\n{}", rejected.diagnostics, imported.text),
    }
}

/// Every wire in one line, and every rejected row.
fn told(text: &str, options: &Options) -> String {
    let imported = match read(text, options) {
        Ok(imported) => imported,
        Err(unclear) => {
            let asked = unclear.questions.iter().map(|q| format!("{}: {:?}", q.decide, q.examples));
            return asked.collect::<Vec<_>>().join("\n");
        }
    };
    let harness = harness(&imported);
    let wire = |wire: &Wire| {
        let [from, to] = wire.ends.map(|end| harness.point_name(end));
        let mut line = format!("{} {from} {to}", wire.id);
        line.extend(wire.gauge.map(|gauge| format!(" {gauge}")));
        line.extend(wire.colour.as_ref().map(|colour| format!(" {colour}")));
        line.extend(wire.length.map(|length| format!(" {length}")));
        line
    };
    let wires = harness.wires.values().map(wire);
    let rejects = imported.rejects.iter().map(|reject| format!("! {} {}", reject.row, reject.reason));
    wires.chain(rejects).collect::<Vec<_>>().join("\n")
}

#[test]
fn from_to_lists_as_people_keep_them() {
    let plain = Options::default();
    for (text, wanted) in [
        ("Wire,From,To\n31A,P1-K,SP3\n31B,SP3,J1/A\n", "31A P1.K SP3\n31B SP3 J1.A"),
        ("Connector,Pin,Connector,Pin,Wire\nP1,1,P2,4,9\n", "9 P1.1 P2.4"),
        ("From,To\nP1.1,P2.1\nP1.2,P2.2\n", "W1 P1.1 P2.1\nW2 P1.2 P2.2"),
        ("Wire,From,To\n101..103,P1.1..3,P2.1..3\n", "101 P1.1 P2.1\n102 P1.2 P2.2\n103 P1.3 P2.3"),
        ("Wire,From,To\n\"7, 8\",\"P1.1, P1.2\",GND\n", "7 P1.1 GND\n8 P1.2 GND"),
        (
            "Wire,From,To,Length mm,AWG,Color\n1A,P1.1,P2.1,850,#16,red/white\n",
            "1A P1.1 P2.1 16 AWG RD/WH 850 mm",
        ),
        ("Wire,From,To\n5,P1.1,P2.1\n5,P2.1,P1.1\n", "5 P1.1 P2.1\n! 3 it repeats wire 5 of row 2"),
        ("Wire,From,To\n5,P1.1,P1.1\n6,P1.2,P2.2\n", "6 P1.2 P2.2\n! 2 it starts and ends at P1.1"),
        ("Wire,From,To\n5,P1.1,TBD\n6,P1.2,P2.2\n", "6 P1.2 P2.2\n! 2 one end is not decided yet"),
        (
            "Wire,From,To\n5,P1.1..3,P2.1..2\n6,P1.4,P2.4\n",
            "6 P1.4 P2.4\n! 2 3 ends on one side and 2 on the other",
        ),
        (
            "Wire,From,To\n5,P1.1,04-Jan\n6,P1.4,P2.4\n",
            "6 P1.4 P2.4\n! 2 cell C2 holds a date (`04-Jan`): spreadsheets make one of texts such as 1-4; format the column as text and type it again",
        ),
        (
            "Wire,From,To\n5,P1.1,SP1\n6,P1,SP1\n7,P1.2,SP1\n",
            "! 3 P1 has contacts in other rows: which one is meant here?\n5 P1.1 SP1\n7 P1.2 SP1",
        ),
    ] {
        let told = told(text, &plain);
        let sorted = |text: &str| text.lines().map(str::to_owned).collect::<BTreeSet<_>>();
        assert_eq!(sorted(&told), sorted(wanted), "{text}\n{told}");
    }
}

#[test]
fn pin_maps_as_people_keep_them() {
    let pins = "Connector,Pin,Function,Wire\nP1,1,Feed,31A\nP1,2,NC,\nP1,3,,plugged\nJ1,A (5),,31A\n";
    let imported = read(pins, &Options::default()).unwrap();
    let harness = harness(&imported);
    assert_eq!(told(pins, &Options::default()), "31A P1.1 J1.A");
    let contact = |name: &str| {
        let Ok(Point::Contact(id)) = harness.point(name) else { panic!("{name}") };
        &harness.contacts[id]
    };
    assert_eq!(contact("P1.1").signal.as_deref(), Some("Feed"));
    assert!(contact("P1.2").spare && contact("P1.3").plugged && !contact("P1.1").spare);
    assert_eq!(contact("J1.A").also, ["5"]);
    // Two wires in one cell are together on purpose; in two rows somebody has to say so.
    let both = "Connector,Pin,Wire,To\nP1,1,\"7, 8\",\"SP1, SP2\"\n";
    assert_eq!(told(both, &Options::default()), "7 P1.1 SP1\n8 P1.1 SP2");
    let apart = "Connector,Pin,Wire,To\nP1,1,7,SP1\nP1,1,8,SP2\n";
    assert!(told(apart, &Options::default()).contains("--joined"));
    assert_eq!(told(apart, &Options { joined: Joined::All, ..Options::default() }), "7 P1.1 SP1\n8 P1.1 SP2");
    // One end only: kept as a comment, and said.
    let loose = read("Connector,Pin,Wire\nP1,1,31A\n", &Options::default()).unwrap();
    assert_eq!(loose.loose, ["31A at P1.1"]);
    assert!(loose.text.contains("# 1: wire 31A: the table does not say where its other end is"));
    // Three ends are no wire.
    let three = "Connector,Pin,Wire\nP1,1,7\nP1,2,7\nP1,3,7\nP1,4,\n";
    assert_eq!(read(three, &Options::default()).unwrap().rejects.len(), 3);
}

/// What can be read in two ways is asked, and an argument settles it.
#[test]
fn questions_name_the_argument_that_settles_them() {
    for (text, argument) in [
        ("Wire,From,To\n1,P1.1-4,P2.1-4\n", "--dash"),
        ("Wire,From,To,Length\n1A,P1.1,P2.1,850\n", "--length-unit"),
        ("Wire,From,To,Size\n1A,P1.1,P2.1,16\n", "--gauge-unit"),
        ("Wire,From,To,Length\n1A,P1.1,P2.1,\"1,200 mm\"\n", "--decimal"),
        ("Wire,From,To,Length\n1A,P1.1,P2.1,\"2,4 m\"\n2A,P1.2,P2.2,1.200 m\n", "--decimal"),
        ("Wire,From,To,Colour\n1A,P1.1,P2.1,BL\n", "--colour"),
        ("Wire,From,To\n1A,P1.1,BAT+\n", "--terminal"),
        ("Wire,From,To\n1A,P1.1,P2.1\n2A,,P2.2\n", "--blank"),
        ("Wire,From,To\n1A,P1.1,P2.1\n2A,P1.1,P2.2\n", "--joined"),
        ("Wire,From,To\n1,1.1,2.1\n", "--wire-prefix"),
        ("Pin,Function\n1,Feed\n", "--connector"),
        ("a,b\nc,d\n", "--column"),
    ] {
        let Err(unclear) = read(text, &Options::default()) else { panic!("{text} was taken as it is") };
        let asked: Vec<&str> = unclear.questions.iter().map(|q| q.decide.as_str()).collect();
        assert!(asked.len() == 1 && asked[0].contains(argument), "{text}: {asked:?}");
    }
    let options = Options {
        dash: Some(Dash::Range),
        length_unit: Some("mm"),
        blank: Some(Blank::Above),
        wire_prefix: "W".to_owned(),
        ..Options::default()
    };
    let text = "Wire,From,To,Length\n1..2,1.1-2,2.1-2,850\n3,,3.1,1\n";
    let settled = Options { joined: Joined::All, ..options };
    assert_eq!(
        told(text, &settled),
        "! 3 1 wire ids for 2 wires: give each its own"
            .replace("! 3", "W1 1.1 2.1 850 mm\nW2 1.2 2.2 850 mm\n! 3")
    );
}

#[test]
fn letters_make_segments_of_rows_with_one_id() {
    let text = "Wire,From,To\n31,P1.1,SP1\n31,SP1,P2.1\n";
    assert!(told(text, &Options::default()).contains("--letters makes segments"));
    let lettered = Options { letters: true, ..Options::default() };
    assert_eq!(told(text, &lettered), "31A P1.1 SP1\n31B SP1 P2.1");
}

#[test]
fn mended_rows_go_back_into_their_table() {
    let text = "Wire,From,To\n1A,P1.1,P2.1\n2A,P1.2,TBD\n3A,P1.3,?\n";
    let imported = read(text, &Options::default()).unwrap();
    let side = rejects_csv(&imported.rejects);
    let mended = side.replace("TBD", "P2.2").replace(",?", ",P2.3");
    let mut grid = grid(text);
    mend(&mut grid, &read_csv(mended.as_bytes(), None, None).unwrap()).unwrap();
    let again = import(&grid, "try.csv", &about(), &Options::default()).unwrap();
    assert!(again.rejects.is_empty());
    assert_eq!(harness(&again).wires.len(), 3);
}

/// What a from-to list can hold of a wire, in one comparable text; lengths and sizes to twelve digits.
fn essence(harness: &Harness, wire: &Wire) -> String {
    let [from, to] = wire.ends.map(|end| {
        let ground = matches!(end, Point::Terminal(id) if harness.terminals[id].ground);
        format!("{}{}", harness.point_name(end), if ground { " (ground)" } else { "" })
    });
    format!(
        "{} {from} {to} {:.12?} {:?} {:.12?} {:?} {:?} {:?} {:?}",
        wire.id, wire.gauge, wire.colour, wire.length, wire.circuit, wire.twisted, wire.shield, wire.hazard
    )
}

#[test]
fn a_machine_goes_out_as_a_list_and_comes_back() {
    let options = Options { joined: Joined::All, ..Options::default() };
    let mut wires = 0;
    for seed in 0..60 {
        let made = machine::made(seed, 5 + seed as usize);
        let text = csv(&wires_table(&made));
        let imported =
            read(&text, &options).unwrap_or_else(|unclear| panic!("{seed}: {:?}", unclear.questions));
        assert_eq!(imported.rejects, [], "{seed}");
        let back = harness(&imported);
        let all = |harness: &Harness| harness.wires.values().map(|w| essence(harness, w)).collect::<Vec<_>>();
        assert_eq!(all(back), all(&made), "{seed}");
        wires += back.wires.len();
    }
    assert!(wires > 1000, "only {wires} wires were compared");
}

#[test]
fn pin_maps_go_out_and_come_back() {
    let mut compared = 0;
    for seed in 0..40 {
        let made = machine::made(seed, 5 + seed as usize);
        let named = |ground: bool| {
            let wanted = made.terminals.values().filter(move |terminal| terminal.ground == ground);
            wanted.map(|terminal| terminal.id.clone()).collect::<BTreeSet<_>>()
        };
        let splices = made.splices.values().map(|splice| splice.id.clone()).collect();
        let options = Options {
            joined: Joined::All,
            splices,
            terminals: named(false),
            grounds: named(true),
            ..Options::default()
        };
        let text = csv(&pins_table(&made));
        let imported =
            read(&text, &options).unwrap_or_else(|unclear| panic!("{seed}: {:?}", unclear.questions));
        assert_eq!(imported.rejects, [], "{seed}");
        let back = harness(&imported);
        let contacts = |harness: &Harness| {
            let contact = |contact: &ringout::definition::Contact| {
                let connector = harness.connectors[contact.connector].id.clone();
                (connector, contact.name.clone(), contact.signal.clone(), contact.spare, contact.plugged)
            };
            harness.contacts.values().map(contact).collect::<BTreeSet<_>>()
        };
        assert_eq!(contacts(back), contacts(&made), "{seed}");
        let wires = |harness: &Harness| {
            let held = |wire: &&Wire| wire.ends.iter().any(|end| matches!(end, Point::Contact(_)));
            let wire = |wire: &Wire| {
                let mut ends = wire.ends.map(|end| harness.point_name(end));
                ends.sort();
                format!("{} {ends:?} {:?} {:.12?} {:.12?}", wire.id, wire.colour, wire.gauge, wire.length)
            };
            harness.wires.values().filter(held).map(wire).collect::<BTreeSet<_>>()
        };
        assert_eq!(wires(back), wires(&made), "{seed}");
        compared += back.contacts.len();
    }
    assert!(compared > 500, "only {compared} contacts were compared");
}

/// Every row of a table is above the head, head, used or rejected, and each only once; what is used is in the text.
fn nothing_is_lost(grid: &Grid, options: &Options) -> Result<bool, TestCaseError> {
    let (understood, rejects, text) = match import(grid, "any.csv", &about(), options) {
        Ok(imported) => (imported.understood, imported.rejects, imported.text),
        Err(unclear) => {
            prop_assert!(!unclear.questions.is_empty());
            return Ok(false);
        }
    };
    let u = &understood;
    let mut seen: Vec<usize> =
        [&u.above, &u.head, &u.repeated, &u.used].into_iter().flatten().copied().collect();
    seen.extend(rejects.iter().map(|reject| reject.row));
    seen.sort_unstable();
    let rows: Vec<usize> = grid.rows.iter().map(|row| row.number).collect();
    prop_assert_eq!(seen, rows);
    for row in &u.above {
        prop_assert!(text.contains(&format!("# row {row}: ")), "{row}\n{text}");
    }
    Ok(true)
}

const CELLS: [&str; 40] = [
    "P1", "P2", "J1", "A", "B", "1", "2", "31A", "32", "P1.A", "P1-1", "J1/2", "J1:B", "SP1", "GND", "1-4",
    "1..3", "NC", "-", "TBD", "", "", "red", "BL", "RD/WH", "16 AWG", "1,5 mm²", "16", "2.4 m", "850",
    "1,200", "=1+1", "'-", "04-Jan", "#REF!", "From", "a\nb", "P1, P2", "é(x)", "101, 102",
];
const HEADS: [&str; 16] = [
    "Wire",
    "From",
    "To",
    "Pin",
    "Connector",
    "Colour",
    "Size",
    "Length",
    "Signal",
    "Remarks",
    "From pin",
    "To pin",
    "",
    "Supplier",
    "Length mm",
    "AWG",
];

fn table() -> impl Strategy<Value = String> {
    let cell = (0..CELLS.len()).prop_map(|at| CELLS[at]);
    let head = prop::collection::vec((0..HEADS.len()).prop_map(|at| HEADS[at]), 2..7);
    let rows = prop::collection::vec(prop::collection::vec(cell, 1..7), 1..12);
    (prop_oneof![Just(vec!["Wire", "From", "To"]), Just(vec!["Connector", "Pin", "Wire", "To"]), head], rows)
        .prop_map(|(head, rows)| {
            let mut writer = ::csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
            writer.write_record(&head).unwrap();
            for row in &rows {
                writer.write_record(row).unwrap();
            }
            String::from_utf8(writer.into_inner().unwrap()).unwrap()
        })
}

fn decided() -> Options {
    Options {
        dash: Some(Dash::Range),
        blank: Some(Blank::Reject),
        joined: Joined::All,
        length_unit: Some("mm"),
        gauge_unit: Some("AWG"),
        decimal: Some(ringout::exchange::Decimal::Point),
        wire_prefix: "W".to_owned(),
        colours: [("bl".to_owned(), None)].into(),
        ..Options::default()
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        if let Ok(grid) = read_csv(&bytes, None, None) {
            nothing_is_lost(&grid, &Options::default())?;
        }
    }

    #[test]
    fn no_row_of_any_table_is_lost(text in table()) {
        let grid = grid(&text);
        nothing_is_lost(&grid, &Options::default())?;
        nothing_is_lost(&grid, &decided())?;
    }

    #[test]
    fn words_for_columns_and_odd_signs_do_no_harm(text in "(Wire|From|To|Pin|,|;|\t|\n|\"|[A-Z0-9]{1,3}|[-./:'=+@ ]|é){0,60}") {
        for separator in [None, Some(b','), Some(b';')] {
            if let Ok(grid) = read_csv(text.as_bytes(), separator, None) {
                nothing_is_lost(&grid, &decided())?;
            }
        }
    }
}

/// The properties above would say little if every table ended in a question.
#[test]
fn made_tables_are_not_all_alike() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let (mut good, mut used, mut rejected) = (0, 0, 0);
    for _ in 0..400 {
        let text = table().new_tree(&mut runner).unwrap().current();
        if let Ok(imported) = read(&text, &decided()) {
            good += 1;
            used += imported.understood.used.len();
            rejected += imported.rejects.len();
        }
    }
    assert!(good > 40 && used > 40 && rejected > 40, "{good} {used} {rejected}");
}
