//! What was chosen is no less likely than anything else.

/// Where readings would come out likelier than the one that was chosen, what these have together is theirs in equal
/// shares. The choice was made on more than the doubts know of: of the 26 pieces of `sample-photos/tune` whose
/// runner-up came out likelier, 7 had the form and size that were chosen and 5 those of the runner-up.
pub fn level<T>(chosen: &mut f64, others: &mut [(T, f64)]) {
    others.sort_by(|a, b| b.1.total_cmp(&a.1));
    let (mut sum, mut sharing) = (*chosen, 0);
    while let Some((_, p)) = others
        .get(sharing)
        .filter(|(_, p)| *p > sum / (sharing + 1) as f64)
    {
        sum += p;
        sharing += 1;
    }
    let share = sum / (sharing + 1) as f64;
    *chosen = share;
    for (_, p) in others.iter_mut().take(sharing) {
        *p = share;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_chosen_is_no_less_likely_than_anything_else() {
        let levelled = |chosen: f64, others: &[f64]| {
            let (mut right, mut rest) =
                (chosen, others.iter().map(|p| ((), *p)).collect::<Vec<_>>());
            level(&mut right, &mut rest);
            let all: f64 = right + rest.iter().map(|(_, p)| p).sum::<f64>();
            assert!((all - chosen - others.iter().sum::<f64>()).abs() < 1e-12);
            assert!(rest.iter().all(|(_, p)| *p <= right));
            (right, rest.len())
        };
        assert_eq!(levelled(0.6, &[0.1, 0.3]), (0.6, 2));
        // By hand: 0.01 and 0.73 are 0.37 each; 0.1, 0.3 and 0.5 all are 0.3.
        assert!((levelled(0.01, &[0.73]).0 - 0.37).abs() < 1e-12);
        assert!((levelled(0.1, &[0.3, 0.5]).0 - 0.3).abs() < 1e-12);
        assert_eq!(levelled(0.2, &[]), (0.2, 0));
    }
}
