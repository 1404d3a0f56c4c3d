//! Which addresses may be connected to: those of a network of one's own need an allowance.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A network of one's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Network {
    /// This machine.
    Loopback,
    /// The same cable.
    LinkLocal,
    /// The same site: private and shared addresses.
    Private,
}

/// The networks that may be connected to. An address may be written by somebody who must not reach all that
/// this machine reaches, and a name be resolved by whoever answers for it; behind this machine's network lies what
/// trusts this machine (request forgery).
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Networks {
    /// `None`: all there are.
    allowed: Option<Vec<Network>>,
}

impl Networks {
    /// Every address: what a configuration names stands where it says.
    pub fn all() -> Networks {
        Networks::default()
    }

    /// Addresses out in the world, and of one's own networks those that are named.
    pub fn besides(allowed: Vec<Network>) -> Networks {
        Networks {
            allowed: Some(allowed),
        }
    }

    /// Whether an address may be connected to.
    pub fn allows(&self, address: IpAddr) -> bool {
        let Some(allowed) = &self.allowed else {
            return true;
        };
        match reach(address) {
            Reach::Out => true,
            Reach::Inside(network) => allowed.contains(&network),
            Reach::Nowhere => false,
        }
    }
}

/// Where an address lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Reach {
    /// Out in the world.
    Out,
    /// In a network of one's own.
    Inside(Network),
    /// Nobody in particular: unspecified, multicast, broadcast, reserved.
    Nowhere,
}

fn reach(address: IpAddr) -> Reach {
    match address {
        IpAddr::V4(address) => reach_v4(address),
        IpAddr::V6(address) => match carried(address) {
            // Else `::ffff:127.0.0.1` would be an address out in the world.
            Some(inner) => reach_v4(inner),
            None => reach_v6(address),
        },
    }
}

/// The special-purpose blocks of RFC 6890 and its registry, from memory.
fn reach_v4(address: Ipv4Addr) -> Reach {
    let [a, b, ..] = address.octets();
    match (a, b) {
        (127, _) => Reach::Inside(Network::Loopback),
        (169, 254) => Reach::Inside(Network::LinkLocal),
        (10, _) | (192, 168) | (172, 16..=31) | (100, 64..=127) | (198, 18 | 19) => {
            Reach::Inside(Network::Private)
        }
        (0, _) | (224..=255, _) => Reach::Nowhere,
        _ => Reach::Out,
    }
}

fn reach_v6(address: Ipv6Addr) -> Reach {
    if address.is_loopback() {
        return Reach::Inside(Network::Loopback);
    }
    match address.segments()[0] {
        0xfe80..=0xfebf => Reach::Inside(Network::LinkLocal),
        0xfc00..=0xfdff | 0xfec0..=0xfeff => Reach::Inside(Network::Private),
        // Global unicast alone is out in the world.
        0x2000..=0x3fff => Reach::Out,
        _ => Reach::Nowhere,
    }
}

/// The address of version 4 that one of version 6 leads to: mapped (`::ffff:0:0/96`), translated
/// (`64:ff9b::/96`) or tunnelled (`2002::/16`).
fn carried(address: Ipv6Addr) -> Option<Ipv4Addr> {
    let s = address.segments();
    let from = |high: u16, low: u16| Ipv4Addr::from((u32::from(high) << 16) | u32::from(low));
    match s {
        [0, 0, 0, 0, 0, 0xffff, high, low] | [0x64, 0xff9b, 0, 0, 0, 0, high, low] => {
            Some(from(high, low))
        }
        [0x2002, high, low, ..] => Some(from(high, low)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn check(address: &str, expected: Reach) {
        assert_eq!(reach(address.parse().unwrap()), expected, "{address}");
    }

    #[test]
    fn addresses_within_the_house_are_known_in_every_disguise() {
        for address in [
            "127.0.0.1",
            "127.9.9.9",
            "::1",
            "::ffff:127.0.0.1",
            "64:ff9b::7f00:1",
            "2002:7f00:1::",
        ] {
            check(address, Reach::Inside(Network::Loopback));
        }
        for address in ["169.254.169.254", "fe80::1", "::ffff:169.254.1.1"] {
            check(address, Reach::Inside(Network::LinkLocal));
        }
        for address in [
            "10.0.0.1",
            "172.16.0.1",
            "172.31.255.255",
            "192.168.1.1",
            "100.64.0.1",
            "fd00::1",
            "::ffff:10.1.1.1",
        ] {
            check(address, Reach::Inside(Network::Private));
        }
        for address in [
            "0.0.0.0",
            "224.0.0.1",
            "255.255.255.255",
            "::",
            "ff02::1",
            "::ffff:0.0.0.0",
        ] {
            check(address, Reach::Nowhere);
        }
        for address in ["192.0.43.10", "172.32.0.1", "2606:4700::1"] {
            check(address, Reach::Out);
        }
    }

    #[test]
    fn an_allowance_opens_what_it_names_and_nothing_else() {
        let private: IpAddr = "192.168.1.20".parse().unwrap();
        let allows = |some: &[Network], address| Networks::besides(some.to_vec()).allows(address);
        assert!(
            !allows(&[], private)
                && !allows(&[Network::Loopback], private)
                && allows(&[Network::Private], private)
        );
        let all = [Network::Loopback, Network::Private, Network::LinkLocal];
        assert!(!allows(&all, "0.0.0.0".parse().unwrap()));
        assert!(Networks::all().allows(private));
    }
}
