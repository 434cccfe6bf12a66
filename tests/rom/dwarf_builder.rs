//! DWARF line tables of versions 2 to 5, made by hand after the DWARF standards (chapters 6.2 and
//! 7.22 of version 5).

/// One compilation unit: its abbreviations, its entry, and its line program.
pub struct Unit {
    pub version: u16,
    pub directory: &'static str,
    pub program: Vec<u8>,
}

/// The instructions of line programs that the tests use.
pub fn set_address(address: u32) -> Vec<u8> {
    [&[0, 5, 2][..], &address.to_be_bytes()].concat()
}

pub const COPY: u8 = 1;
/// In units of the minimum instruction length, which is 2.
pub const ADVANCE_PC: u8 = 2;
pub const ADVANCE_LINE: u8 = 3;
pub const SET_FILE: u8 = 4;
pub const END_SEQUENCE: [u8; 3] = [0, 1, 1];

impl Unit {
    /// `.debug_abbrev`: a compile unit with statement list, name and directory.
    pub fn abbreviations(&self) -> Vec<u8> {
        let offset_form = if self.version < 4 { 0x06 } else { 0x17 };
        vec![1, 0x11, 0, 0x10, offset_form, 0x03, 0x08, 0x1B, 0x08, 0, 0, 0]
    }

    /// `.debug_info`.
    pub fn info(&self) -> Vec<u8> {
        let mut body = self.version.to_be_bytes().to_vec();
        if self.version < 5 {
            body.extend([0, 0, 0, 0, 4]);
        } else {
            body.extend([1, 4, 0, 0, 0, 0]);
        }
        body.extend([1, 0, 0, 0, 0]);
        body.extend(b"detect.s\0");
        body.extend(self.directory.as_bytes());
        body.push(0);
        sized(body)
    }

    /// `.debug_line`: file 1 is `detect.s` in the directory of the compilation, file 2 `tables.s`
    /// in `./sub`.
    pub fn line(&self) -> Vec<u8> {
        let mut header = vec![2];
        if self.version >= 4 {
            header.push(1);
        }
        header.extend([1, 0xFB, 14, 10, 0, 1, 1, 1, 1, 0, 0, 0, 1]);
        if self.version < 5 {
            header.extend(b"./sub\0\0detect.s\0\0\0\0tables.s\0\x01\0\0\0");
        } else {
            header.extend([1, 1, 0x08, 2]);
            header.extend(self.directory.as_bytes());
            header.extend(b"\0./sub\0");
            header.extend([2, 1, 0x08, 2, 0x0F, 3]);
            header.extend(b"detect.s\0\0detect.s\0\0tables.s\0\x01");
        }
        let mut body = self.version.to_be_bytes().to_vec();
        if self.version >= 5 {
            body.extend([4, 0]);
        }
        body.extend((header.len() as u32).to_be_bytes());
        body.extend(header);
        body.extend(&self.program);
        sized(body)
    }
}

fn sized(body: Vec<u8>) -> Vec<u8> {
    [&(body.len() as u32).to_be_bytes()[..], &body].concat()
}
