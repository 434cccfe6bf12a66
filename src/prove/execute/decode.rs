//! temp
use super::alu::Alu;
use super::{Processor, Run};
use crate::cpu::Exception;
use crate::prove::World;

fn mode(o: u16) -> u16 {
    let (m, r) = (o >> 3 & 7, o & 7);
    if m < 7 {
        m
    } else if r < 5 {
        7 + r
    } else {
        12
    }
}
fn data(m: u16) -> bool {
    m != 1 && m <= 11
}
fn alterable(m: u16) -> bool {
    m <= 8
}
fn data_alterable(m: u16) -> bool {
    m != 1 && alterable(m)
}
fn memory_alterable(m: u16) -> bool {
    m >= 2 && alterable(m)
}
fn control(m: u16) -> bool {
    matches!(m, 2 | 5..=10)
}

impl<W: World> Processor<'_, W> {
    pub(super) fn execute(&mut self, o: u16) -> Run<W> {
        let m = mode(o);
        match o >> 12 {
            0 => self.group0(o, m),
            1..=3 => {
                let to = o >> 6 & 7;
                let byte = o >> 12 == 1;
                if m > 11 || byte && (m == 1 || to == 1) || to == 7 && o >> 9 & 7 > 1 {
                    return self.illegal();
                }
                self.move_data(o)
            }
            4 => self.group4(o, m),
            5 => match (o >> 6 & 3, m) {
                (3, 1) => self.count_down(o),
                (3, _) if data_alterable(m) => self.set_if(o),
                (3, _) => self.illegal(),
                (0, 1) => self.illegal(),
                _ if alterable(m) => self.quick(o),
                _ => self.illegal(),
            },
            6 if o >> 8 == 0x61 => self.branch_call(o),
            6 => self.branch(o),
            7 if o & 0x100 == 0 => self.move_quick(o),
            8 => match (o >> 6 & 7, m) {
                (3 | 7, _) if data(m) => self.divide(o),
                (0..=2, _) if data(m) => self.alu_to_register(o, Alu::Or),
                (4, 0 | 1) => self.decimal(o),
                (4..=6, _) if memory_alterable(m) => self.alu_to_memory(o, Alu::Or),
                _ => self.illegal(),
            },
            9 => self.add_or_sub(o, m, Alu::Sub),
            0xA => Err(self.raise(Exception::LineA, self.core.at)),
            0xB => match (o >> 6 & 7, m) {
                (0, 1) => self.illegal(),
                (0..=2, _) if m <= 11 => self.alu_to_register(o, Alu::Cmp),
                (3 | 7, _) if m <= 11 => self.alu_to_address(o, Alu::Cmp),
                (4..=6, 1) => self.cmpm(o),
                (4..=6, 0) => {
                    let size = super::size::Size::of(o);
                    let (s, d) = (self.data(size, o >> 9), self.data(size, o));
                    let r = self.compute(Alu::Eor, s, d);
                    self.set_data(size, o, r);
                    self.finish()?;
                    if size == super::size::Size::Long {
                        self.idle(4);
                    }
                    Ok(())
                }
                (4..=6, _) if memory_alterable(m) => self.alu_to_memory(o, Alu::Eor),
                _ => self.illegal(),
            },
            0xC => match (o >> 6 & 7, m) {
                (3 | 7, _) if data(m) => self.multiply(o),
                (0..=2, _) if data(m) => self.alu_to_register(o, Alu::And),
                (4, 0 | 1) => self.decimal(o),
                (5, 0 | 1) | (6, 1) => self.exchange(o),
                (4..=6, _) if memory_alterable(m) => self.alu_to_memory(o, Alu::And),
                _ => self.illegal(),
            },
            0xD => self.add_or_sub(o, m, Alu::Add),
            0xE if o >> 6 & 3 != 3 => self.shift_register(o),
            0xE if o & 0x800 == 0 && memory_alterable(m) => self.shift_memory(o),
            0xF => Err(self.raise(Exception::LineF, self.core.at)),
            _ => self.illegal(),
        }
    }
    fn illegal(&mut self) -> Run<W> {
        Err(self.raise(Exception::Illegal, self.core.at))
    }
    fn add_or_sub(&mut self, o: u16, m: u16, alu: Alu) -> Run<W> {
        match (o >> 6 & 7, m) {
            (0, 1) => self.illegal(),
            (0..=2, _) if m <= 11 => self.alu_to_register(o, alu),
            (3 | 7, _) if m <= 11 => self.alu_to_address(o, alu),
            (4..=6, 0 | 1) => self.extended_op(o),
            (4..=6, _) if memory_alterable(m) => self.alu_to_memory(o, alu),
            _ => self.illegal(),
        }
    }
    fn group0(&mut self, o: u16, m: u16) -> Run<W> {
        let size = o >> 6 & 3;
        if o & 0x100 != 0 {
            if m == 1 {
                return self.move_peripheral(o);
            }
            let legal = if size == 0 { data(m) } else { data_alterable(m) };
            return if legal { self.bit_op(o) } else { self.illegal() };
        }
        match o >> 9 & 7 {
            4 => {
                let legal = if size == 0 { data(m) && m != 11 } else { data_alterable(m) };
                if legal { self.bit_op(o) } else { self.illegal() }
            }
            7 => self.illegal(),
            op => {
                if o & 0x3F == 0x3C && size < 2 && matches!(op, 0 | 1 | 5) {
                    return self.status_immediate(o);
                }
                if size == 3 || !data_alterable(m) {
                    return self.illegal();
                }
                self.immediate_alu(o)
            }
        }
    }
    fn group4(&mut self, o: u16, m: u16) -> Run<W> {
        if o & 0x100 != 0 {
            return match o >> 6 & 3 {
                2 if data(m) => self.check_bounds(o),
                3 if control(m) => self.load_address(o),
                _ => self.illegal(),
            };
        }
        match o >> 6 & 0x3F {
            0x03 if data_alterable(m) => self.move_from_status(o),
            0x13 | 0x1B if data(m) => self.move_to_status(o),
            0x00..=0x02 | 0x10..=0x12 | 0x18..=0x1A if data_alterable(m) => self.unary(o),
            0x08..=0x0A if data_alterable(m) => self.clear_op(o),
            0x28..=0x2A if data_alterable(m) => self.test(o),
            0x20 if data_alterable(m) => self.nbcd(o),
            0x21 if m == 0 => self.swap(o),
            0x21 if control(m) => self.push_address(o),
            0x22 | 0x23 if m == 0 => self.ext(o),
            0x22 | 0x23 if control(m) && m <= 8 || m == 4 => self.move_multiple(o),
            0x32 | 0x33 if control(m) || m == 3 => self.move_multiple(o),
            0x2B if data_alterable(m) => self.tas(o),
            0x39 => match o & 0x3F {
                0x00..=0x0F => self.trap(o),
                0x10..=0x17 => self.link(o),
                0x18..=0x1F => self.unlink(o),
                0x20..=0x2F => self.move_user_stack(o),
                0x30 => self.reset_line(),
                0x31 => self.finish(),
                0x32 => self.stop(),
                0x33 | 0x35 | 0x37 => self.return_from(o),
                0x36 => self.trap_on_overflow(),
                _ => self.illegal(),
            },
            0x3A if control(m) => self.call(o),
            0x3B if control(m) => self.jump_to(o),
            _ => self.illegal(),
        }
    }
}
