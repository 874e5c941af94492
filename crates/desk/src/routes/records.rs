//! Records of a rehearsal, by time and by what led to them.

use axum::extract::{Path, State};
use axum::http::Uri;
use serde_json::json;

use super::{Answer, Desk, JobNumber, Shared, told, work};
use crate::error::ApiError;

/// A number of the query; `None` where it is not given.
fn number(uri: &Uri, key: &str) -> Result<Option<f64>, ApiError> {
    let query = uri.query().unwrap_or("");
    let own = query.split('&').filter_map(|pair| pair.split_once('='));
    let Some((_, value)) = own.into_iter().find(|(k, _)| *k == key) else {
        return Ok(None);
    };
    let read = value
        .parse::<f64>()
        .ok()
        .filter(|n| n.is_finite() && *n >= 0.0);
    let read = read.ok_or_else(|| {
        ApiError::bad(
            "bad-query",
            format!("`{key}` is no number of 0 or more: {value}"),
        )
    })?;
    Ok(Some(read))
}

pub(super) fn unread(error: &std::io::Error) -> ApiError {
    ApiError::missing("no-trace", format!("the records cannot be read: {error}"))
}

pub(super) async fn records(State(desk): Shared, Path(id): Path<JobNumber>, uri: Uri) -> Answer {
    const NS: f64 = 1e9;
    let trace = desk.jobs.get(id.read()?)?.trace()?;
    let from_ns = number(&uri, "from_s")?.unwrap_or(0.0) * NS;
    let to_ns = number(&uri, "to_s")?.map_or(u64::MAX, |s| (s * NS) as u64);
    let after = number(&uri, "after")?.map(|n| n as u64);
    let limit = number(&uri, "limit")?.map_or(usize::MAX, |n| n as usize);
    let task = move |_: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        let found = trace.between(from_ns as u64, to_ns, after, limit);
        let (records, more) = found.map_err(|e| unread(&e))?;
        Ok(json!({ "records": records, "more": more, "of": trace.records }))
    };
    told(&work(&desk, task).await?)
}

pub(super) async fn chained(State(desk): Shared, Path(id): Path<JobNumber>, uri: Uri) -> Answer {
    let trace = desk.jobs.get(id.read()?)?.trace()?;
    let record = number(&uri, "record")?;
    let record = record.ok_or_else(|| ApiError::bad("bad-query", "`record` is missing"))? as u64;
    let task = move |_: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        let found = trace.chain(record).map_err(|e| unread(&e))?;
        let (records, more) = found.ok_or_else(|| {
            ApiError::missing("no-such-record", format!("there is no record {record}"))
        })?;
        Ok(json!({ "records": records, "more": more }))
    };
    told(&work(&desk, task).await?)
}
