//! Huffman codes and the bits they are read from (ITU-T T.81, annexes C and F).

use super::whole::Fault;

/// Codes up to this length are found in one look; few are longer.
const QUICK_BITS: u32 = 9;

/// A table of codes.
#[derive(Clone)]
pub(super) struct Huffman {
    /// By the next [`QUICK_BITS`]: length and symbol, length 0 where the code is longer.
    quick: Vec<(u8, u8)>,
    /// For each length 1 to 16: the first code, how many there are, and the index of the first one's symbol.
    lengths: [(u32, u32, usize); 16],
    symbols: Vec<u8>,
}

impl Huffman {
    /// Takes a table from a segment that begins with the 16 numbers of codes; also what follows it.
    pub(super) fn read(data: &[u8]) -> Result<(Self, &[u8]), Fault> {
        const BAD: Fault = Fault::Broken("its code tables make no sense");
        let (counts, rest) = data.split_first_chunk::<16>().ok_or(BAD)?;
        let total = counts.iter().map(|&n| usize::from(n)).sum();
        let (symbols, rest) = rest.split_at_checked(total).ok_or(BAD)?;
        let mut quick = vec![(0, 0); 1 << QUICK_BITS];
        let mut lengths = [(0, 0, 0); 16];
        let (mut code, mut index) = (0_u32, 0_usize);
        for ((length, &count), slot) in (1_u32..).zip(counts).zip(&mut lengths) {
            let count = u32::from(count);
            if code + count > 1 << length {
                return Err(BAD);
            }
            *slot = (code, count, index);
            for (code, &symbol) in (code..code + count).zip(symbols.iter().skip(index)) {
                if length <= QUICK_BITS {
                    let free = QUICK_BITS - length;
                    let from = (code << free) as usize;
                    for entry in quick.iter_mut().skip(from).take(1 << free) {
                        *entry = (length as u8, symbol);
                    }
                }
            }
            index += count as usize;
            code = (code + count) << 1;
        }
        let symbols = symbols.to_vec();
        Ok((
            Self {
                quick,
                lengths,
                symbols,
            },
            rest,
        ))
    }
}

/// Coded data as bits, without stuffed zeros, up to the next marker.
pub(super) struct Bits<'a> {
    data: &'a [u8],
    at: usize,
    /// The next bits, right-aligned; what lies above `count` is spent.
    held: u64,
    count: u32,
}

impl<'a> Bits<'a> {
    pub(super) fn of(data: &'a [u8]) -> Self {
        Self {
            data,
            at: 0,
            held: 0,
            count: 0,
        }
    }

    fn fill(&mut self) {
        while self.count <= 56 {
            let byte = match (self.data.get(self.at), self.data.get(self.at + 1)) {
                (Some(0xFF), Some(0x00)) => {
                    self.at += 2;
                    0xFF
                }
                (Some(0xFF), Some(0xFF)) => {
                    self.at += 1;
                    continue;
                }
                (Some(0xFF) | None, _) => return,
                (Some(&byte), _) => {
                    self.at += 1;
                    byte
                }
            };
            self.held = (self.held << 8) | u64::from(byte);
            self.count += 8;
        }
    }

    /// The next `n` bits, at most 16.
    ///
    /// # Errors
    /// [`Fault::Cut`] where there are not so many.
    pub(super) fn take(&mut self, n: u32) -> Result<u32, Fault> {
        if n == 0 {
            return Ok(0);
        }
        if self.count < n {
            self.fill();
            if self.count < n {
                return Err(Fault::Cut);
            }
        }
        self.count -= n;
        Ok((self.held >> self.count) as u32 & ((1 << n) - 1))
    }

    /// Passes over any number of bits.
    ///
    /// # Errors
    /// [`Fault::Cut`] where there are not so many.
    pub(super) fn skip(&mut self, mut n: u32) -> Result<(), Fault> {
        while n > 0 {
            let part = n.min(16);
            self.take(part)?;
            n -= part;
        }
        Ok(())
    }

    /// The next symbol.
    ///
    /// # Errors
    /// [`Fault::Cut`] at the end of the data, [`Fault::Broken`] where no code fits.
    pub(super) fn symbol(&mut self, table: &Huffman) -> Result<u8, Fault> {
        if self.count < 16 {
            self.fill();
        }
        let ahead = if self.count >= QUICK_BITS {
            self.held >> (self.count - QUICK_BITS)
        } else {
            self.held << (QUICK_BITS - self.count)
        };
        let at = ahead as usize & ((1 << QUICK_BITS) - 1);
        let (length, symbol) = table.quick.get(at).copied().unwrap_or_default();
        let length = u32::from(length);
        if length > 0 {
            if length > self.count {
                return Err(Fault::Cut);
            }
            self.count -= length;
            return Ok(symbol);
        }
        for (length, (first, count, index)) in
            (1_u32..).zip(table.lengths).skip(QUICK_BITS as usize)
        {
            if length > self.count {
                return Err(Fault::Cut);
            }
            let code = (self.held >> (self.count - length)) as u32 & ((1 << length) - 1);
            if let Some(nth) = code.checked_sub(first).filter(|nth| *nth < count) {
                self.count -= length;
                let symbol = table.symbols.get(index + nth as usize).copied();
                return symbol.ok_or(Fault::Broken("its code tables make no sense"));
            }
        }
        Err(Fault::Broken("its coded picture makes no sense"))
    }

    /// Goes on behind the restart marker that must come next, number `nth` modulo 8.
    ///
    /// # Errors
    /// [`Fault::Cut`] where none comes, [`Fault::Broken`] where another does.
    pub(super) fn restart(&mut self, nth: usize) -> Result<(), Fault> {
        (self.held, self.count) = (0, 0);
        loop {
            let rest = self.data.get(self.at..).unwrap_or_default();
            let next = rest
                .iter()
                .position(|&byte| byte == 0xFF)
                .ok_or(Fault::Cut)?;
            self.at += next + 1;
            match self.data.get(self.at) {
                Some(&byte @ 0xD0..=0xD7) => {
                    self.at += 1;
                    return match usize::from(byte - 0xD0) == nth % 8 {
                        true => Ok(()),
                        false => Err(Fault::Broken("a part of its coded picture is missing")),
                    };
                }
                Some(_) => {}
                None => return Err(Fault::Cut),
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Codes 0, 10, 110 and one of 12 bits.
    fn table() -> Huffman {
        let mut data = vec![1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0];
        data.extend([b'a', b'b', b'c', b'd']);
        Huffman::read(&data).unwrap().0
    }

    #[test]
    fn symbols_come_out_in_order_and_not_beyond_the_end() {
        // a b c d: 0 10 110 111000000000, then ones.
        let data = [0b0101_1011, 0b1000_0000, 0b0011_1111];
        let (table, mut bits) = (table(), Bits::of(&data));
        for wanted in *b"abcd" {
            assert_eq!(bits.symbol(&table), Ok(wanted));
        }
        assert_eq!(bits.take(6), Ok(0b11_1111));
        assert_eq!(bits.take(1), Err(Fault::Cut));
        assert_eq!(bits.symbol(&table), Err(Fault::Cut));
    }

    #[test]
    fn a_code_of_no_table_is_told() {
        let data = [0xFF, 0x00, 0xFF, 0x00, 0xFF, 0x00];
        let mut bits = Bits::of(&data);
        assert!(matches!(bits.symbol(&table()), Err(Fault::Broken(_))));
    }

    #[test]
    fn restarts_must_come_in_turn() {
        let data = [0x12, 0xFF, 0xD0, 0x34, 0xFF, 0xD2];
        let mut bits = Bits::of(&data);
        assert_eq!(bits.take(8), Ok(0x12));
        assert_eq!(bits.take(1), Err(Fault::Cut));
        assert_eq!(bits.restart(0), Ok(()));
        assert_eq!(bits.take(8), Ok(0x34));
        assert!(matches!(bits.restart(1), Err(Fault::Broken(_))));
        assert_eq!(bits.restart(2), Err(Fault::Cut));
    }

    #[test]
    fn tables_that_cannot_be_are_refused() {
        // Three codes of one bit; more symbols than there are; too short for its numbers.
        for data in [
            &[[3_u8; 16].to_vec(), vec![0; 48]].concat()[..],
            &[200; 16],
            &[1; 4],
        ] {
            assert!(Huffman::read(data).is_err());
        }
    }
}
