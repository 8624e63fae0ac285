//! An ICC profile, cut down to what is read of it.
//!
//! A profile may name the same bytes many times over, as texts in a hundred thousand languages or as tables that
//! are never used, and so ask for a thousand times its size in memory. Here go only the tags that colours are
//! computed from, once each and within bounds, and one description.

/// Most bytes of a profile, packed or not: as much as JPEG can hold in all (255 segments of 64 kB).
pub(super) const MOST_BYTES: usize = 255 << 16;
/// Most bytes of the tags that are read. Printers' tables have 0.1 to 4 MB; ten times that goes into memory.
const MOST_USED_BYTES: usize = 5_000_000;
/// Longest description. Cameras write one in some forty languages in 2 kB.
const LONGEST_DESCRIPTION: usize = 16_384;

/// Tags that colours are computed from (ICC.1:2022, 9.2).
const USED: [&[u8; 4]; 11] = [
    b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC", b"kTRC", b"wtpt", b"bkpt", b"chad",
    b"cicp",
];
/// Tables, the one that is read first; without it, another tells that there are tables.
const TABLES: [&[u8; 4]; 3] = [b"A2B0", b"A2B1", b"A2B2"];

/// Header and number of tags.
const HEAD_BYTES: usize = 132;

/// The profile with what is read of it; `None` where it is too short or too large.
pub(super) fn trimmed(profile: &[u8]) -> Option<Vec<u8>> {
    let head = profile.get(..HEAD_BYTES)?;
    let count = u32::from_be_bytes(*head.last_chunk()?);
    let listed = profile.get(HEAD_BYTES..)?.as_chunks::<12>().0;
    let listed = listed.get(..usize::try_from(count).ok()?)?;
    let find = |name: &[u8; 4]| {
        let &[.., o3, o2, o1, o0, s3, s2, s1, s0] =
            listed.iter().find(|tag| tag.starts_with(name))?;
        let offset = u32::from_be_bytes([o3, o2, o1, o0]) as usize;
        let size = u32::from_be_bytes([s3, s2, s1, s0]) as usize;
        Some(profile.get(offset..offset.checked_add(size)?))
    };
    let mut tags: Vec<(&[u8; 4], &[u8])> = Vec::new();
    let table = TABLES.into_iter().find(|name| find(name).is_some());
    for name in USED.into_iter().chain(table) {
        if let Some(data) = find(name) {
            tags.push((name, data?));
        }
    }
    if let Some(Some(text)) =
        find(b"desc").filter(|text| text.is_some_and(|t| t.len() <= LONGEST_DESCRIPTION))
    {
        tags.push((b"desc", text));
    }
    let used: usize = tags.iter().map(|(_, data)| data.len()).sum();
    (used <= MOST_USED_BYTES).then(|| put_together(head, &tags))
}

/// A profile of these tags, each on a multiple of four bytes.
fn put_together(head: &[u8], tags: &[(&[u8; 4], &[u8])]) -> Vec<u8> {
    let mut list = Vec::new();
    let mut data = Vec::new();
    let start = HEAD_BYTES + tags.len() * 12;
    for (name, bytes) in tags {
        list.extend_from_slice(*name);
        list.extend(((start + data.len()) as u32).to_be_bytes());
        list.extend((bytes.len() as u32).to_be_bytes());
        data.extend_from_slice(bytes);
        data.resize(data.len().next_multiple_of(4), 0);
    }
    let size = ((start + data.len()) as u32).to_be_bytes();
    let between = head.get(4..HEAD_BYTES - 4).unwrap_or_default();
    let count = (tags.len() as u32).to_be_bytes();
    [&size[..], between, &count, &list, &data].concat()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn profile(tags: &[(&[u8; 4], &[u8])]) -> Vec<u8> {
        put_together(&[7; HEAD_BYTES], tags)
    }

    #[test]
    fn what_is_used_stays_and_the_rest_goes() {
        let used: &[(&[u8; 4], &[u8])] =
            &[(b"rXYZ", b"redr"), (b"A2B0", b"tabl"), (b"desc", b"name")];
        let others: &[(&[u8; 4], &[u8])] =
            &[(b"cprt", b"mine"), (b"A2B1", b"othr"), (b"B2A0", b"back")];
        let whole = profile(&[used, others].concat());
        assert_eq!(trimmed(&whole).unwrap(), profile(used));
        // Without the table that is read, another says that there are some.
        assert_eq!(
            trimmed(&profile(&[(b"A2B2", b"tabl")])).unwrap(),
            profile(&[(b"A2B2", b"tabl")])
        );
    }

    #[test]
    fn what_cannot_be_or_is_too_much_is_refused() {
        let large = vec![0; MOST_USED_BYTES / 2 + 4];
        assert!(trimmed(&profile(&[(b"A2B0", &large), (b"rTRC", &large)])).is_none());
        assert!(trimmed(&profile(&[(b"A2B0", &large), (b"B2A0", &large)])).is_some());
        let long = vec![0; LONGEST_DESCRIPTION + 1];
        assert_eq!(
            trimmed(&profile(&[(b"desc", &long)])).unwrap(),
            profile(&[])
        );
        let whole = profile(&[(b"rXYZ", b"redr")]);
        for length in 0..whole.len() {
            assert!(trimmed(&whole[..length]).is_none(), "{length}");
        }
    }
}
