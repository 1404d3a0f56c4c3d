//! Who did what.

/// What somebody did, or a run of things alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditRow {
    /// When, in microseconds since 1970: the first of them.
    pub wall: i64,
    /// The last of them.
    pub until: i64,
    /// How many.
    pub count: u64,
    /// Who: `token:NAME`, `loopback`, `unix:uid=N`, `service`, `unknown`.
    pub who: String,
    /// The address it came from.
    pub peer: Option<String>,
    /// The method, or what the service did.
    pub what: String,
    /// The bay, job or rule set it was about.
    pub subject: Option<String>,
    /// `ok`, or the kind of the refusal.
    pub outcome: String,
}

/// A row with its place in the trail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredAudit {
    /// Its place: greater than that of everything written before it.
    pub seq: i64,
    /// The row.
    pub row: AuditRow,
}

/// Which rows are wanted; every part left out is every one. Newest first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AuditFilter {
    /// By this one.
    pub who: Option<String>,
    /// About this.
    pub subject: Option<String>,
    /// Before the row of this place: the last one of the page before.
    pub before: Option<i64>,
}

/// What holding a job against its chain of hashes came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verified {
    /// Its events.
    pub events: u64,
    /// The links of its chain.
    pub links: u64,
    /// The hash over all of it, hexadecimal.
    pub digest: String,
    /// The newest event that was there when the chain was begun, in a job that is older than
    /// chains are: up to it the chain shows alterations since then alone.
    pub adopted: Option<i64>,
    /// What does not fit; empty if everything does.
    pub findings: Vec<String>,
    /// The ids of the calibrations that its readings name. Whether a record is that of its id is for those to say who
    /// gave the ids.
    pub calibrations: Vec<String>,
}
