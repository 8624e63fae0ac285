//! One scan of a JPEG, read from code to code.

use super::huffman::{Bits, Huffman};
use super::whole::{Component, Fault, Layout, NOTHING};

/// What a scan's header says (ITU-T T.81, B.2.3).
pub(super) struct Scan {
    /// Index of the component, its DC table and its AC table.
    parts: Vec<(usize, usize, usize)>,
    /// First and last coefficient, zigzag order.
    first: u8,
    last: u8,
    /// Whether this scan refines what came before by one bit.
    refines: bool,
}

const NO_SENSE: Fault = Fault::Broken("its coded picture makes no sense");
const NO_TABLE: Fault = Fault::Broken("a code table is missing");

impl Scan {
    /// Reads the header, and notes in `layout` what the scan brings.
    ///
    /// # Errors
    /// [`Fault::Broken`] where it makes no sense.
    pub(super) fn read(data: &[u8], layout: &mut Layout) -> Result<Self, Fault> {
        let (&count, rest) = data.split_first().ok_or(NO_SENSE)?;
        let (listed, rest) = rest
            .split_at_checked(usize::from(count) * 2)
            .ok_or(NO_SENSE)?;
        let &[first, last, bits, ..] = rest else {
            return Err(NO_SENSE);
        };
        let mut parts = Vec::new();
        for &[id, tables] in listed.as_chunks::<2>().0 {
            let component = layout.components.iter().position(|c| c.id == id);
            let component = component.ok_or(NO_SENSE)?;
            parts.push((
                component,
                usize::from(tables >> 4),
                usize::from(tables & 15),
            ));
        }
        // A baseline scan brings all of a block, whatever it says here.
        let (first, last, high, low) = match layout.progressive {
            true => (first, last, bits >> 4, bits & 15),
            false => (0, 63, 0, 0),
        };
        let alone = parts.len() == 1;
        let one_kind = !layout.progressive || (first == 0 && last == 0) || (first > 0 && alone);
        if parts.is_empty() || parts.len() > 4 || first > last || last > 63 || !one_kind {
            return Err(NO_SENSE);
        }
        for &(component, ..) in &parts {
            let component = layout.components.get_mut(component).ok_or(NO_SENSE)?;
            let range = usize::from(first)..=usize::from(last);
            for to_come in component.to_come.get_mut(range).unwrap_or_default() {
                let in_turn = match high {
                    0 => *to_come == NOTHING,
                    _ => *to_come == high && low + 1 == high,
                };
                if !in_turn {
                    return Err(NO_SENSE);
                }
                *to_come = low;
            }
        }
        Ok(Self {
            parts,
            first,
            last,
            refines: high > 0,
        })
    }
}

/// Code tables and restart interval as they are at some place of the file.
#[derive(Default)]
pub(super) struct Coder {
    pub(super) dc: [Option<Huffman>; 4],
    pub(super) ac: [Option<Huffman>; 4],
    /// Groups of blocks between restart markers; 0 for none.
    pub(super) interval: usize,
}

impl Coder {
    fn table(tables: &[Option<Huffman>; 4], index: usize) -> Result<&Huffman, Fault> {
        tables.get(index).and_then(Option::as_ref).ok_or(NO_TABLE)
    }

    /// Reads a whole scan.
    ///
    /// # Errors
    /// [`Fault::Cut`] where data ends before the scan does.
    pub(super) fn walk(
        &self,
        scan: &Scan,
        layout: &mut Layout,
        mut bits: Bits,
    ) -> Result<(), Fault> {
        match scan.parts[..] {
            [(index, _, table)] if scan.first > 0 => {
                let component = layout.components.get_mut(index).ok_or(NO_SENSE)?;
                self.walk_band(scan, component, Self::table(&self.ac, table)?, &mut bits)
            }
            _ => self.walk_blocks(scan, layout, &mut bits),
        }
    }

    /// Reads a scan of whole blocks (baseline) or of their mean values (progressive).
    fn walk_blocks(&self, scan: &Scan, layout: &Layout, bits: &mut Bits) -> Result<(), Fault> {
        // A component alone is coded block after block, without those that only fill groups up (A.2.2).
        let alone = scan.parts.len() == 1;
        let mut groups = layout.columns * layout.rows;
        let mut blocks: Vec<(u32, Option<&Huffman>, Option<&Huffman>)> = Vec::new();
        for &(index, dc, ac) in &scan.parts {
            let component = layout.components.get(index).ok_or(NO_SENSE)?;
            if alone {
                groups = component.columns * component.rows;
            }
            let times = if alone {
                1
            } else {
                component.across * component.down
            };
            let dc = match scan.refines {
                true => None,
                false => Some(Self::table(&self.dc, dc)?),
            };
            let ac = match layout.progressive {
                true => None,
                false => Some(Self::table(&self.ac, ac)?),
            };
            blocks.push((times, dc, ac));
        }
        for group in 0..groups {
            if self.interval > 0 && group > 0 && group % self.interval == 0 {
                bits.restart(group / self.interval - 1)?;
            }
            for (times, dc, ac) in &blocks {
                for _ in 0..*times {
                    match dc {
                        Some(dc) => mean(dc, bits)?,
                        None => bits.skip(1)?,
                    }
                    if let Some(ac) = ac {
                        rest(ac, bits)?;
                    }
                }
            }
        }
        Ok(())
    }

    /// Reads a progressive scan of a band of one component's coefficients (G.1.2.2, G.1.2.3).
    fn walk_band(
        &self,
        scan: &Scan,
        component: &mut Component,
        table: &Huffman,
        bits: &mut Bits,
    ) -> Result<(), Fault> {
        let blocks = component.columns * component.rows;
        if component.nonzero.is_empty() {
            component.nonzero = vec![0; blocks];
        }
        let band = (u64::MAX << scan.first) & (u64::MAX >> (63 - scan.last));
        // Blocks from here on of whose band nothing more is coded.
        let mut ended = 0_u32;
        for (block, nonzero) in component.nonzero.iter_mut().enumerate() {
            if self.interval > 0 && block > 0 && block % self.interval == 0 {
                ended = 0;
                bits.restart(block / self.interval - 1)?;
            }
            if ended == 0 {
                ended = match scan.refines {
                    false => first_pass(scan, nonzero, table, bits)?,
                    true => refining_pass(scan, nonzero, table, bits)?,
                };
            } else {
                if scan.refines {
                    bits.skip((*nonzero & band).count_ones())?;
                }
                ended -= 1;
            }
        }
        Ok(())
    }
}

/// A block's mean value: how many bits, then those.
fn mean(table: &Huffman, bits: &mut Bits) -> Result<(), Fault> {
    let size = u32::from(bits.symbol(table)?);
    if size > 16 {
        return Err(NO_SENSE);
    }
    bits.take(size).map(|_| ())
}

/// The other 63 coefficients of a baseline block.
fn rest(table: &Huffman, bits: &mut Bits) -> Result<(), Fault> {
    let mut at = 1;
    while at < 64 {
        let symbol = bits.symbol(table)?;
        let (run, size) = (u32::from(symbol >> 4), u32::from(symbol & 15));
        match (run, size) {
            (15, 0) => at += 16,
            (_, 0) => return Ok(()),
            _ => {
                at += run + 1;
                if at > 64 {
                    return Err(NO_SENSE);
                }
                bits.take(size)?;
            }
        }
    }
    Ok(())
}

/// How many blocks beyond this one a code for the end of bands stands for.
fn run_of_ends(run: u32, bits: &mut Bits) -> Result<u32, Fault> {
    Ok((1 << run) + bits.take(run)? - 1)
}

/// A band's first bits in one block; how many blocks behind it are at their end too.
fn first_pass(
    scan: &Scan,
    nonzero: &mut u64,
    table: &Huffman,
    bits: &mut Bits,
) -> Result<u32, Fault> {
    let mut at = u32::from(scan.first);
    while at <= u32::from(scan.last) {
        let symbol = bits.symbol(table)?;
        let (run, size) = (u32::from(symbol >> 4), u32::from(symbol & 15));
        match (run, size) {
            (15, 0) => at += 16,
            (_, 0) => return run_of_ends(run, bits),
            _ => {
                at += run;
                if at > u32::from(scan.last) {
                    return Err(NO_SENSE);
                }
                bits.take(size)?;
                *nonzero |= 1 << at;
                at += 1;
            }
        }
    }
    Ok(0)
}

/// One more bit of a band in one block; how many blocks behind it have no new coefficients.
fn refining_pass(
    scan: &Scan,
    nonzero: &mut u64,
    table: &Huffman,
    bits: &mut Bits,
) -> Result<u32, Fault> {
    let last = u32::from(scan.last);
    let mut at = u32::from(scan.first);
    let mut ends = None;
    while at <= last {
        let symbol = bits.symbol(table)?;
        let (mut run, size) = (u32::from(symbol >> 4), u32::from(symbol & 15));
        match (run, size) {
            (15, 0) => {}
            (_, 0) => {
                ends = Some(run_of_ends(run, bits)?);
                break;
            }
            // The sign of a new coefficient, which is 1 or -1.
            _ => bits.skip(1)?,
        }
        // Over `run` coefficients that are still 0; each other on the way has its bit here.
        while at <= last {
            if *nonzero >> at & 1 == 1 {
                bits.skip(1)?;
            } else if run == 0 {
                break;
            } else {
                run -= 1;
            }
            at += 1;
        }
        if size > 0 {
            if at > last {
                return Err(NO_SENSE);
            }
            *nonzero |= 1 << at;
        }
        at += 1;
    }
    if at <= last {
        let left = (u64::MAX << at) & (u64::MAX >> (63 - last));
        bits.skip((*nonzero & left).count_ones())?;
    }
    Ok(ends.unwrap_or(0))
}
