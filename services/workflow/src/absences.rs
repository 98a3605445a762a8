//! Absences: a technician is away, a bay or a unit is out of service, until a moment or until somebody knows.

use contract::list::{Page, PageQuery};
use contract::problem::{FieldFault, ProblemKind};
use contract::resources::{AbsenceView, EndAbsence, NewAbsence};
use serde_json::json;
use store::absences::{self, AbsenceRow};
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::flow::{Flow, Step};
use crate::list;
use crate::record::Happening;
use crate::refusal::Refusal;

/// Says that somebody or something is not there.
pub async fn add(flow: &Flow, call: &Call, new: &NewAbsence) -> Result<AbsenceView, Refusal> {
    flow.write(call, "absences.add", async |step| step.add_absence(new).await).await
}

impl Step {
    /// Writes an absence down.
    pub(crate) async fn add_absence(&mut self, new: &NewAbsence) -> Result<AbsenceView, Refusal> {
        let step = self;
        check(step, new).await?;
        let now = step.now().await?;
        let row = AbsenceRow {
            id: step.new_id().await?,
            technician: new.technician,
            bay: new.bay,
            equipment: new.equipment,
            from_at: new.from_at.unwrap_or(now),
            until_at: new.until_at,
            reason: new.reason.clone(),
            version: 1,
        };
        ends_after_it_began(&row)?;
        let shop = step.shop();
        absences::insert(step.conn(), shop, &row).await?;
        step.record(Happening {
            kind: "absence.added",
            order: None,
            subject: ("absence", row.id.to_string()),
            data: json!({ "technician": row.technician, "bay": row.bay, "equipment": row.equipment,
                "from_at": row.from_at, "until_at": row.until_at, "reason": row.reason }),
        })
        .await?;
        Ok(view(row))
    }
}

/// Every absence that has not ended, by its beginning.
pub async fn list(
    flow: &Flow,
    caller: &Caller,
    query: &PageQuery,
) -> Result<Page<AbsenceView>, Refusal> {
    flow.read(caller, async |step| {
        let (shop, now) = (step.shop(), step.now().await?);
        let all =
            absences::list_open(step.conn(), shop, now).await?.into_iter().map(view).collect();
        list::page(all, query, |one: &AbsenceView| one.id.to_string())
    })
    .await
}

/// One absence.
pub async fn get(flow: &Flow, caller: &Caller, id: Uuid) -> Result<AbsenceView, Refusal> {
    flow.read(caller, async |step| Ok(view(find(step, id).await?))).await
}

/// Says when an absence ends or ended.
pub async fn end(
    flow: &Flow,
    call: &Call,
    id: Uuid,
    end: &EndAbsence,
) -> Result<AbsenceView, Refusal> {
    flow.write(call, "absences.end", async |step| {
        let old = find(step, id).await?;
        let version = call.expects.unwrap_or(old.version);
        let row = AbsenceRow { until_at: Some(end.until_at), version, ..old };
        ends_after_it_began(&row)?;
        let shop = step.shop();
        if !absences::end(step.conn(), shop, id, version, end.until_at).await? {
            return Err(Refusal::new(
                ProblemKind::VersionStale,
                "the absence changed since it was read",
            ));
        }
        step.record(Happening {
            kind: "absence.ended",
            order: None,
            subject: ("absence", id.to_string()),
            data: json!({ "until_at": end.until_at }),
        })
        .await?;
        Ok(view(AbsenceRow { version: version + 1, ..row }))
    })
    .await
}

async fn find(step: &mut Step, id: Uuid) -> Result<AbsenceRow, Refusal> {
    let shop = step.shop();
    let row = absences::find(step.conn(), shop, id).await?;
    row.ok_or_else(|| Refusal::not_found("absence"))
}

/// Exactly one is named, and it is of this shop.
async fn check(step: &mut Step, new: &NewAbsence) -> Result<(), Refusal> {
    let shop = step.shop();
    let named = [new.technician, new.bay, new.equipment].into_iter().flatten().count();
    let mut faults = Vec::new();
    let mut fault = |pointer: &str, detail: &str| {
        faults.push(FieldFault { pointer: pointer.to_owned(), detail: detail.to_owned() });
    };
    if named != 1 {
        fault("", "name exactly one of technician, bay and equipment");
    }
    if let Some(id) = new.technician
        && store::technicians::find(step.conn(), shop, id).await?.is_none()
    {
        fault("/technician", "there is no such technician in this shop");
    }
    if let Some(id) = new.bay
        && store::bays::find(step.conn(), shop, id).await?.is_none()
    {
        fault("/bay", "there is no such bay in this shop");
    }
    if let Some(id) = new.equipment
        && store::equipment::find(step.conn(), shop, id).await?.is_none()
    {
        fault("/equipment", "there is no such unit of equipment in this shop");
    }
    if faults.is_empty() { Ok(()) } else { Err(Refusal::unprocessable(faults)) }
}

fn ends_after_it_began(row: &AbsenceRow) -> Result<(), Refusal> {
    if row.until_at.is_none_or(|until| until > row.from_at) {
        return Ok(());
    }
    let detail = "an absence ends after it began".to_owned();
    Err(Refusal::field("/until_at", detail))
}

fn view(row: AbsenceRow) -> AbsenceView {
    AbsenceView {
        id: row.id,
        technician: row.technician,
        bay: row.bay,
        equipment: row.equipment,
        from_at: row.from_at,
        until_at: row.until_at,
        reason: row.reason,
        version: row.version,
    }
}
