#![allow(clippy::unwrap_used)]
use std::path::Path;

use super::administer;
use super::*;

fn add(path: &Path, name: &str, role: Role) -> String {
    let token = administer::add(path, name, role, None).unwrap();
    token.trim().to_owned()
}

fn headers(name: &'static str, value: &str) -> HeaderMap {
    let mut headers = HeaderMap::new();
    headers.insert(name, value.parse().unwrap());
    headers
}

const ABROAD: &str = "192.0.2.7:4000";
const HERE: &str = "127.0.0.1:4000";

fn tcp(address: &str) -> Peer {
    Peer::Tcp(address.parse().unwrap())
}

#[test]
fn a_token_is_shown_once_and_kept_as_a_hash() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tokens.toml");
    let token = add(&path, "display", Role::Read);
    // 256 bits in hexadecimal after the prefix.
    assert_eq!(token.len(), "trisect-".len() + 64);
    let kept = std::fs::read_to_string(&path).unwrap();
    assert!(!kept.contains(&token[8..]), "{kept}");
    assert_ne!(token, add(&path, "other", Role::Read));
    let listed = administer::list(&path).unwrap();
    assert!(
        listed.contains("display") && !listed.contains(&token[8..]),
        "{listed}"
    );
    use std::os::unix::fs::PermissionsExt;
    let mode = std::fs::metadata(&path).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
}

#[test]
fn a_token_is_taken_from_either_header() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tokens.toml");
    let token = add(&path, "gauge", Role::Measure);
    let access = Access::new(Some(path), TokenlessRoles::default(), 10.0).unwrap();
    let check = |name, value: &str, expected: Result<Role, IdentityError>| {
        let found = access.identify(tcp(ABROAD), &headers(name, value));
        assert_eq!(
            found.map(|identity| identity.role),
            expected,
            "{name}: {value}"
        );
    };
    check(
        "authorization",
        &format!("Bearer {token}"),
        Ok(Role::Measure),
    );
    check(
        "authorization",
        &format!("bearer  {token}"),
        Ok(Role::Measure),
    );
    let offered = format!("trisect.v1, trisect.token.{token}");
    check("sec-websocket-protocol", &offered, Ok(Role::Measure));
    check("authorization", &token, Err(IdentityError::BadToken));
    check(
        "authorization",
        &format!("Basic {token}"),
        Err(IdentityError::BadToken),
    );
    check(
        "authorization",
        "Bearer trisect-0",
        Err(IdentityError::BadToken),
    );
    let wrong = format!("Bearer trisect-{}", "0".repeat(64));
    check("authorization", &wrong, Err(IdentityError::BadToken));
    check(
        "sec-websocket-protocol",
        "trisect.v1",
        Err(IdentityError::NoToken),
    );
}

#[test]
fn nobody_is_let_in_by_default_and_places_as_they_are_named() {
    let none = HeaderMap::new();
    let check = |places: TokenlessRoles, peer, expected: Result<Role, IdentityError>| {
        let access = Access::new(None, places, 10.0).unwrap();
        let found = access.identify(peer, &none).map(|identity| identity.role);
        assert_eq!(found, expected, "{places:?} {peer}");
    };
    let closed = TokenlessRoles::default();
    let open = TokenlessRoles {
        loopback: Some(Role::Measure),
        unix: Some(Role::Manage),
    };
    let socket = Peer::Unix { uid: Some(1000) };
    for peer in [tcp(HERE), tcp("[::1]:1"), tcp(ABROAD), socket] {
        check(closed, peer, Err(IdentityError::NoToken));
    }
    check(open, tcp(HERE), Ok(Role::Measure));
    check(open, tcp("[::1]:1"), Ok(Role::Measure));
    check(open, tcp("[::ffff:127.0.0.1]:1"), Ok(Role::Measure));
    check(open, tcp(ABROAD), Err(IdentityError::NoToken));
    check(open, socket, Ok(Role::Manage));
}

#[test]
fn a_wrong_token_is_refused_even_where_none_is_needed() {
    let places = TokenlessRoles {
        loopback: Some(Role::Manage),
        unix: None,
    };
    let access = Access::new(None, places, 10.0).unwrap();
    let wrong = headers("authorization", "Bearer nonsense");
    let found = access
        .identify(tcp(HERE), &wrong)
        .map(|identity| identity.role);
    assert_eq!(found, Err(IdentityError::BadToken));
}

#[tokio::test]
async fn what_is_revoked_ends_and_what_is_not_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tokens.toml");
    let (old, kept) = (
        add(&path, "old", Role::Read),
        add(&path, "kept", Role::Read),
    );
    let access = Access::new(Some(path.clone()), TokenlessRoles::default(), 10.0).unwrap();
    let of = |token: &str| {
        access.identify(
            tcp(ABROAD),
            &headers("authorization", &format!("Bearer {token}")),
        )
    };
    let (going, staying) = (of(&old).unwrap(), of(&kept).unwrap());
    assert!(!access.grants().follow().unwrap());
    administer::revoke(&path, "old").unwrap();
    assert!(access.grants().follow().unwrap());
    going.revoked().await;
    assert_eq!(of(&old).err(), Some(IdentityError::BadToken));
    assert!(of(&kept).is_ok());
    let still = tokio::time::timeout(std::time::Duration::ZERO, staying.revoked()).await;
    assert!(still.is_err(), "another token was revoked with it");
}

#[test]
fn a_file_that_is_no_token_file_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tokens.toml");
    let token = add(&path, "kept", Role::Read);
    let access = Access::new(Some(path.clone()), TokenlessRoles::default(), 10.0).unwrap();
    for (text, said) in [
        ("nonsense", "cannot be understood"),
        (
            "[[token]]\nname = 'a'\nrole = 'read'\nhash = 'x'\ncreated = ''",
            "is none",
        ),
        (
            "[[token]]\nname = 'a'\nrole = 'boss'\nhash = 'x'\ncreated = ''",
            "boss",
        ),
    ] {
        std::fs::write(&path, text).unwrap();
        let error = access.grants().follow().unwrap_err().to_string();
        assert!(error.contains(said), "{error}");
    }
    let bearer = headers("authorization", &format!("Bearer {token}"));
    assert!(access.identify(tcp(ABROAD), &bearer).is_ok());
}

#[test]
fn a_file_that_everyone_may_read_is_refused() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tokens.toml");
    add(&path, "a", Role::Read);
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
    let error = Access::new(Some(path), TokenlessRoles::default(), 10.0).unwrap_err();
    assert!(error.to_string().contains("by everyone"), "{error}");
}
