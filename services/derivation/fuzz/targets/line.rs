//! Any text is a line of work: it is read or asked about, and every operation rests on words of the text.
#![no_main]

use std::sync::LazyLock;

use derivation::lexicon::Lexicon;
use derivation::reader::{self, own::OwnPhrase, own::OwnPhrases};
use domain::operation::Operation;

static LEXICON: LazyLock<Lexicon> = LazyLock::new(Lexicon::starter);
static OWN: LazyLock<OwnPhrases> = LazyLock::new(|| {
    let operations = vec![Operation::new("replace", "rear_brake_pads")];
    OwnPhrases::new(&LEXICON, vec![OwnPhrase { phrase: "BRK R1".to_owned(), operations }])
});

libfuzzer_sys::fuzz_target!(|text: &str| {
    let reading = reader::read(&LEXICON, text, &OWN);
    assert!(reading.operations.iter().all(|read| text.contains(&read.words)));
    let _ = reader::complaints(&LEXICON, text);
});
