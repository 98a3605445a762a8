//! The catalogue that an order was derived with, compiled once per document.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use derivation::index::Compiled;
use domain::catalogue::Catalogue;
use store::StoreError;

use crate::case::Case;
use crate::flow::{Flow, Step, off_the_runtime};
use crate::refusal::Refusal;

/// Compiled catalogues by the SHA-256 of their document: shops that work with the same document share one.
#[derive(Debug, Default)]
pub(crate) struct Shelf(Mutex<HashMap<Vec<u8>, Arc<Compiled>>>);

/// How many compiled catalogues are kept; beyond that the shelf is cleared and fills again.
const ROOM: usize = 64;

impl Shelf {
    fn get(&self, digest: &[u8]) -> Option<Arc<Compiled>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(digest).cloned()
    }

    fn put(&self, digest: Vec<u8>, compiled: &Arc<Compiled>) {
        let mut shelf = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if shelf.len() >= ROOM {
            shelf.clear();
        }
        shelf.insert(digest, Arc::clone(compiled));
    }
}

impl Step {
    /// The catalogue of an order, compiled.
    pub(crate) async fn catalogue_of(
        &mut self,
        flow: &Flow,
        case: &Case,
    ) -> Result<Arc<Compiled>, Refusal> {
        let version = case.order.catalogue_version.clone();
        self.catalogue(flow, &version).await
    }

    /// The catalogue in force, compiled, with its version.
    pub(crate) async fn catalogue_in_force(
        &mut self,
        flow: &Flow,
    ) -> Result<(String, Arc<Compiled>), Refusal> {
        let shop = self.shop();
        let row = store::catalogues::in_force(self.conn(), shop).await?;
        let (version, _) = row.ok_or_else(|| Refusal::not_found("catalogue in force"))?;
        let compiled = self.catalogue(flow, &version).await?;
        Ok((version, compiled))
    }

    /// One version, compiled.
    pub(crate) async fn catalogue(
        &mut self,
        flow: &Flow,
        version: &str,
    ) -> Result<Arc<Compiled>, Refusal> {
        let shop = self.shop();
        let digest = store::catalogues::digest(self.conn(), shop, version).await?;
        let digest = digest.ok_or_else(|| Refusal::not_found("catalogue"))?;
        if let Some(known) = flow.shelf.get(&digest) {
            return Ok(known);
        }
        let row = store::catalogues::document(self.conn(), shop, version).await?;
        let row = row.ok_or_else(|| Refusal::not_found("catalogue"))?;
        let compile = move || -> Result<Compiled, StoreError> {
            let catalogue: Catalogue = serde_json::from_str(&row.document)?;
            Ok(Compiled::new(catalogue))
        };
        let compiled = Arc::new(off_the_runtime(compile).await??);
        flow.shelf.put(digest, &compiled);
        Ok(compiled)
    }
}
