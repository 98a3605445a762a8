//! Every part by every name of the trade, in the sentences that lines are made of.

use std::collections::{BTreeMap, BTreeSet};

use derivation::lexicon::Lexicon;
use derivation::reader::own::OwnPhrases;
use derivation::reader::{self, LineReading};
use domain::order::Reading;
use serde::Deserialize;

/// Names of parts by component, and sentences by what they say of a part: an action, `none`, or `ask`.
#[derive(Deserialize)]
struct Grid {
    names: BTreeMap<String, Vec<String>>,
    sentences: BTreeMap<String, Vec<String>>,
}

fn is_read(reading: &LineReading, said: &str, component: &str) -> bool {
    match said {
        "none" => reading.reading == Reading::None,
        "ask" => matches!(reading.reading, Reading::Unsure | Reading::Unread),
        action => {
            let read: BTreeSet<(&str, &str)> =
                reading.operations.iter().map(|read| (&*read.action, &*read.component)).collect();
            reading.reading == Reading::Sure && read == BTreeSet::from([(action, component)])
        }
    }
}

#[test]
fn a_part_is_read_by_every_name_of_the_trade_and_in_every_common_sentence() {
    let grid: Grid = serde_saphyr::from_str(include_str!("../labelled/trade_names.yaml"))
        .expect("names and sentences");
    let (lexicon, own) = (Lexicon::starter(), OwnPhrases::default());
    let mut lines = 0;
    let mut faults = Vec::new();
    for (component, name) in
        grid.names.iter().flat_map(|(part, names)| names.iter().map(move |name| (part, name)))
    {
        for (said, sentences) in &grid.sentences {
            for sentence in sentences {
                let line = sentence.replace("{n}", name);
                let reading = reader::read(&lexicon, &line, &own);
                lines += 1;
                if !is_read(&reading, said, component) {
                    faults.push(format!("{line:?} ({said} {component}): {reading:?}"));
                }
            }
        }
    }
    assert!(lines > 10_000, "{lines}");
    assert!(faults.is_empty(), "{} of {lines}:\n{}", faults.len(), faults.join("\n"));
}
