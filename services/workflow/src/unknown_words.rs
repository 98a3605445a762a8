//! Words of the shop that the catalogue in force does not know: nothing will ever ask for them, or they are misspelt.

use contract::orders::FindingView;
use domain::catalogue::{Vocabulary, Word};

use crate::flow::{Flow, Step};
use crate::refusal::Refusal;

impl Step {
    /// A finding for each given word that is not in this list of the catalogue; the word is kept all the same, since a
    /// catalogue to come may know it.
    pub(crate) async fn unknown_words(
        &mut self,
        flow: &Flow,
        list: fn(&Vocabulary) -> &[Word],
        given: &[String],
    ) -> Result<Vec<FindingView>, Refusal> {
        let shop = self.shop();
        let in_force = store::catalogues::in_force(self.conn(), shop).await?;
        let Some((version, _)) = in_force else { return Ok(Vec::new()) };
        let catalogue = self.catalogue(flow, &version).await?;
        let known: Vec<&str> =
            list(&catalogue.catalogue().vocabulary).iter().map(|word| word.id.as_str()).collect();
        let unknown = given.iter().filter(|word| !known.contains(&word.as_str()));
        let told = unknown.map(|word| FindingView {
            code: "unknown_word".to_owned(),
            detail: format!(
                "nothing in the catalogue `{version}` asks for `{word}`; it knows {}",
                known.join(", ")
            ),
        });
        Ok(told.collect())
    }
}
