//! The limits that are looked after while a plugin runs: processor time by the
//! minute, and how many processes it has. Memory was limited before it began.

use std::collections::BTreeMap;
use std::fs;

use rustix::process::{Pid, Resource, Rlimit, getrlimit, prlimit};

use super::Limits;

/// Ticks of a second in `/proc`, as Linux has them on every platform (`USER_HZ`).
const TICKS: u64 = 100;

/// Looks at a plugin's processes every few seconds.
#[derive(Debug)]
pub(super) struct Watch {
    group: Pid,
    limits: Limits,
    /// Looks since the processor time was last granted.
    looks: u32,
    /// Up to which processor time each process may go, in seconds.
    granted: BTreeMap<i32, u64>,
}

/// One process of the group.
struct Member {
    id: i32,
    /// Processor time used, in seconds.
    used: u64,
}

impl Watch {
    /// How many looks a minute has.
    pub(super) const LOOKS: u32 = 12;

    pub(super) fn new(group: Pid, limits: Limits) -> Watch {
        Watch {
            group,
            limits,
            looks: 0,
            granted: BTreeMap::new(),
        }
    }

    /// Looks; what the plugin does that it may not, in words.
    pub(super) fn look(&mut self) -> Result<(), String> {
        let members = members(self.group);
        if members.len() > self.limits.processes {
            return Err(format!(
                "it has {} processes, at most {} are allowed",
                members.len(),
                self.limits.processes
            ));
        }
        // The kernel's signal ends who goes beyond; who ignores it is found here.
        let deaf = |m: &&Member| {
            self.granted
                .get(&m.id)
                .is_some_and(|most| m.used > most + 2)
        };
        if members.iter().any(|member| deaf(&member)) {
            return Err(self.too_long());
        }
        self.looks += 1;
        if self.looks >= Watch::LOOKS {
            self.looks = 0;
            self.grant(&members);
        }
        Ok(())
    }

    /// What is said of a plugin that used more processor time than it may.
    pub(super) fn too_long(&self) -> String {
        let cpu = self.limits.cpu;
        format!("it used more than {cpu} s of processor time in a minute: does it wait, or spin?")
    }

    /// Gives every process its time for the next minute.
    fn grant(&mut self, members: &[Member]) {
        self.granted.clear();
        let hard = getrlimit(Resource::Cpu).maximum;
        for member in members {
            let most = member.used + self.limits.cpu.max(1);
            let limit = Rlimit {
                current: Some(most),
                maximum: hard,
            };
            // A process that has just ended needs none.
            if let Some(id) = Pid::from_raw(member.id)
                && prlimit(Some(id), Resource::Cpu, limit).is_ok()
            {
                self.granted.insert(member.id, most);
            }
        }
    }
}

/// The processes of a group, as `/proc` has them; none where there is no `/proc`.
fn members(group: Pid) -> Vec<Member> {
    let Ok(all) = fs::read_dir("/proc") else {
        return Vec::new();
    };
    let ids = all
        .flatten()
        .filter_map(|entry| entry.file_name().to_str()?.parse().ok());
    ids.filter_map(|id: i32| {
        let stat = fs::read_to_string(format!("/proc/{id}/stat")).ok()?;
        member(id, &stat, group)
    })
    .collect()
}

/// Reads a line of `/proc/PID/stat` (proc(5)): after the name in brackets come
/// state, parent, group, and at places 12 and 13 the times in user and system.
fn member(id: i32, stat: &str, group: Pid) -> Option<Member> {
    let (_, after) = stat.rsplit_once(')')?;
    let fields: Vec<&str> = after.split_whitespace().collect();
    let of: i32 = fields.get(2)?.parse().ok()?;
    if of != group.as_raw_nonzero().get() {
        return None;
    }
    let ticks = |place: usize| fields.get(place)?.parse::<u64>().ok();
    Some(Member {
        id,
        used: (ticks(11)? + ticks(12)?) / TICKS,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_process_is_known_by_its_group_whatever_its_name() {
        let stat = "71 (a b) c) S 1 70 70 0 -1 4194560 1 0 0 0 250 150 0 0 20 0 1 0 9 9 9";
        let group = Pid::from_raw(70).unwrap();
        assert_eq!(member(71, stat, group).unwrap().used, 4);
        assert!(member(71, stat, Pid::from_raw(71).unwrap()).is_none());
        assert!(member(71, "cut (", group).is_none());
    }

    #[test]
    fn this_process_is_in_its_group() {
        let group = rustix::process::getpgrp();
        let this = std::process::id();
        assert!(
            members(group)
                .iter()
                .any(|m| u32::try_from(m.id) == Ok(this))
        );
    }
}
