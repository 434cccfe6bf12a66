//! temp
use super::access::Place;
use super::operand::Operand;
use super::registers::Flag;
use super::size::Size;
use super::{Processor, Run};
use crate::cpu::Exception;
use crate::prove::{Domain, ValueOf, World};

impl<W: World> Processor<'_, W> {
    fn branch_target(&mut self, opcode: u16) -> ValueOf<W> {
        self.core.fault_pc = self.core.at.wrapping_add(2);
        let base = self.core.fault_pc;
        if opcode as u8 == 0 {
            let w = self.core.queue[1];
            let d = self.signed(w);
            self.plus(d, base)
        } else {
            self.number(32, base.wrapping_add(opcode as i8 as u32))
        }
    }
    pub(super) fn branch(&mut self, opcode: u16) -> Run<W> {
        let holds = self.condition(opcode >> 8 & 15);
        if self.decide(holds)? {
            let target = self.branch_target(opcode);
            self.idle(2);
            return self.jump(target);
        }
        self.idle(4);
        if opcode & 0xFF == 0 {
            self.extension()?;
        }
        self.finish()
    }
    pub(super) fn branch_call(&mut self, opcode: u16) -> Run<W> {
        let target = self.branch_target(opcode);
        self.idle(2);
        let back = self.core.at.wrapping_add(if opcode & 0xFF == 0 { 4 } else { 2 });
        let back = self.number(32, back);
        self.push_long(back)?;
        self.core.fault_pc = self.known(target).unwrap_or(0);
        self.jump(target)
    }
    pub(super) fn count_down(&mut self, opcode: u16) -> Run<W> {
        let holds = self.condition(opcode >> 8 & 15);
        if self.decide(holds)? {
            self.idle(4);
            self.extension()?;
            return self.finish();
        }
        let old = self.data(Size::Word, opcode);
        let count = self.plus(old, 0xFFFF);
        let w = self.core.queue[1];
        let by = self.signed(w);
        let target = self.plus(by, self.core.at.wrapping_add(2));
        self.core.fault_pc = self.core.at.wrapping_add(4);
        self.idle(2);
        let (at, first) = self.jump_first(target)?;
        self.set_data(Size::Word, opcode, count);
        let over = self.is_zero(old);
        if !self.decide(over)? {
            return self.jump_second(at, first);
        }
        self.extension()?;
        self.finish()
    }
    fn jump_target(&mut self, opcode: u16) -> Run<W, (ValueOf<W>, u32)> {
        let (mode, number) = (opcode >> 3 & 7, opcode & 7);
        let word = self.core.queue[1];
        let near = self.core.at.wrapping_add(2);
        Ok(match (mode, number) {
            (2, _) => (self.address(number), 2),
            (5, _) => {
                self.idle(2);
                let b = self.address(number);
                let d = self.signed(word);
                (self.v().add(b, d), 4)
            }
            (6, _) => {
                self.idle(6);
                let b = self.address(number);
                let i = self.index()?;
                (self.v().add(b, i), 4)
            }
            (_, 0) => {
                self.idle(2);
                (self.signed(word), 4)
            }
            (_, 1) => {
                self.extension()?;
                let low = self.core.queue[1];
                (self.v().join(word, low), 6)
            }
            (_, 2) => {
                self.idle(2);
                let d = self.signed(word);
                (self.plus(d, near), 4)
            }
            _ => {
                self.idle(6);
                let i = self.index()?;
                (self.plus(i, near), 4)
            }
        })
    }
    pub(super) fn jump_to(&mut self, opcode: u16) -> Run<W> {
        let (target, _) = self.jump_target(opcode)?;
        self.core.fault_pc = self.core.at.wrapping_add(2);
        self.jump(target)
    }
    pub(super) fn call(&mut self, opcode: u16) -> Run<W> {
        let (target, length) = self.jump_target(opcode)?;
        let back = self.core.at.wrapping_add(length);
        self.core.fault_pc = back;
        let (at, first) = self.jump_first(target)?;
        let back = self.number(32, back);
        self.push_long(back)?;
        self.jump_second(at, first)
    }
    fn privileged(&mut self) -> Run<W> {
        if self.core.supervisor { Ok(()) } else { Err(self.raise(Exception::Privilege, self.core.at)) }
    }
    pub(super) fn return_from(&mut self, opcode: u16) -> Run<W> {
        self.core.fault_pc = self.core.at.wrapping_add(2);
        let rte = opcode == 0x4E73;
        if rte {
            self.privileged()?;
        }
        let mut stack = self.address(7);
        let mut status = None;
        if opcode != 0x4E75 {
            status = Some(self.read(Size::Word, Place::data(stack))?);
            stack = self.plus(stack, 2);
        }
        let target = self.read(Size::Long, Place::data(stack))?;
        let top = self.plus(stack, 4);
        self.set_address(7, top);
        match status {
            Some(s) if rte => self.set_status(s)?,
            Some(s) => self.set_condition_codes(s),
            None => {}
        }
        self.jump(target)
    }
    pub(super) fn link(&mut self, opcode: u16) -> Run<W> {
        let number = opcode & 7;
        let by = self.displacement()?;
        self.core.fault_pc = self.core.pc.wrapping_add(2);
        let top = self.address(7);
        let stack = self.plus(top, 4u32.wrapping_neg());
        let value = self.address(number);
        self.push_long(value)?;
        self.set_address(number, stack);
        let top = self.address(7);
        let top = self.v().add(top, by);
        self.set_address(7, top);
        self.finish()
    }
    pub(super) fn unlink(&mut self, opcode: u16) -> Run<W> {
        let number = opcode & 7;
        self.core.fault_pc = self.core.at.wrapping_add(4);
        let frame = self.address(number);
        let value = self.read(Size::Long, Place::data(frame))?;
        let top = self.plus(frame, 4);
        self.set_address(7, top);
        self.set_address(number, value);
        self.finish()
    }
    fn apply_status(&mut self, whole: bool, status: ValueOf<W>) -> Run<W> {
        if whole {
            self.set_status(status)
        } else {
            self.set_condition_codes(status);
            Ok(())
        }
    }
    fn refetch(&mut self) -> Run<W> {
        let next = self.core.pc.wrapping_add(2);
        let next = self.number(32, next);
        self.jump(next)
    }
    pub(super) fn status_immediate(&mut self, opcode: u16) -> Run<W> {
        let whole = opcode & 0x40 != 0;
        if whole {
            self.privileged()?;
        }
        let data = self.extension()?;
        self.idle(8);
        let status = self.status();
        let status = match opcode >> 9 & 7 {
            0 => self.v().or(status, data),
            1 => self.v().and(status, data),
            _ => self.v().xor(status, data),
        };
        self.apply_status(whole, status)?;
        self.refetch()
    }
    pub(super) fn move_to_status(&mut self, opcode: u16) -> Run<W> {
        let whole = opcode & 0x200 != 0;
        if whole {
            self.privileged()?;
        }
        let operand = self.operand(opcode, Size::Word)?;
        let status = self.value(operand, Size::Word)?;
        self.idle(4);
        self.apply_status(whole, status)?;
        self.refetch()
    }
    pub(super) fn move_from_status(&mut self, opcode: u16) -> Run<W> {
        let status = self.status();
        match self.operand(opcode, Size::Word)? {
            Operand::Memory(place) => {
                self.touch(Size::Word, place)?;
                self.finish()?;
                self.write(Size::Word, place.even(), status)
            }
            _ => {
                self.set_data(Size::Word, opcode, status);
                self.finish()?;
                self.idle(2);
                Ok(())
            }
        }
    }
    pub(super) fn move_user_stack(&mut self, opcode: u16) -> Run<W> {
        self.privileged()?;
        if opcode & 8 == 0 {
            let v = self.address(opcode & 7);
            self.set_user_stack(v);
        } else {
            let v = self.user_stack();
            self.set_address(opcode & 7, v);
        }
        self.finish()
    }
    pub(super) fn stop(&mut self) -> Run<W> {
        self.privileged()?;
        self.idle(4);
        let word = self.core.queue[1];
        self.set_status(word)?;
        self.core.pc = self.core.pc.wrapping_add(4);
        self.core.stopped = true;
        Ok(())
    }
    pub(super) fn reset_line(&mut self) -> Run<W> {
        self.privileged()?;
        self.idle(128);
        self.world.reset_devices().map_err(super::Ended::Cut)?;
        self.finish()
    }
    pub(super) fn trap(&mut self, opcode: u16) -> Run<W> {
        Err(self.raise(Exception::Trap(opcode as u8 & 15), self.core.at.wrapping_add(2)))
    }
    pub(super) fn trap_on_overflow(&mut self) -> Run<W> {
        let v = self.flag(Flag::Overflow);
        let v = self.decide(v)?;
        let supervisor = self.core.supervisor;
        self.core.supervisor |= v;
        let done = self.finish();
        self.core.supervisor = supervisor;
        done?;
        if v { Err(self.raise(Exception::Trapv, self.core.pc)) } else { Ok(()) }
    }
    pub(super) fn multiply(&mut self, opcode: u16) -> Run<W> {
        let source = self.word_operand(opcode)?;
        self.finish()?;
        let destination = self.data(Size::Word, opcode >> 9);
        let (product, steps) = if opcode & 0x100 == 0 {
            let (a, b) = (self.v().extend(source, 32), self.v().extend(destination, 32));
            (self.v().mul(a, b), self.ones(source))
        } else {
            let (a, b) = (self.signed(source), self.signed(destination));
            let one = self.number(16, 1);
            let twice = self.v().shift_left(source, one);
            let edges = self.v().xor(source, twice);
            (self.v().mul(a, b), self.ones(edges))
        };
        let twice = self.v().add(steps, steps);
        let clocks = self.plus(twice, 34);
        self.idle_value(clocks);
        self.set_data(Size::Long, opcode >> 9, product);
        self.logical(product);
        Ok(())
    }
    pub(super) fn check_bounds(&mut self, opcode: u16) -> Run<W> {
        let bound = self.word_operand(opcode)?;
        let value = self.data(Size::Word, opcode >> 9);
        self.logical(value);
        let negative = self.sign(value);
        let top = self.number(16, 0x8000);
        let (a, b) = (self.v().xor(value, top), self.v().xor(bound, top));
        let above = self.v().less(b, a);
        let out = self.v().or(negative, above);
        if !self.decide(out)? {
            self.idle(6);
            return self.finish();
        }
        let clocks = self.either(above, 32, 4, 6);
        self.idle_value(clocks);
        let pc = self.core.pc.wrapping_add(2);
        Err(self.raise(Exception::Chk, pc))
    }
    pub(super) fn divide(&mut self, opcode: u16) -> Run<W> {
        let signed = opcode & 0x100 != 0;
        let divisor = self.word_operand(opcode)?;
        let dividend = self.data(Size::Long, opcode >> 9);
        let none = self.is_zero(divisor);
        if self.decide(none)? {
            self.idle(4);
            self.logical(dividend);
            let pc = self.core.pc.wrapping_add(2);
            return Err(self.raise(Exception::ZeroDivide, pc));
        }
        let (dn, vn) = (self.sign(dividend), self.sign(divisor));
        let (dividend_m, divisor_m) = if signed {
            let z = self.number(32, 0);
            let neg = self.v().sub(z, dividend);
            let a = self.v().either(dn, neg, dividend);
            let wide = self.signed(divisor);
            let z = self.number(32, 0);
            let neg = self.v().sub(z, wide);
            let b = self.v().either(vn, neg, wide);
            (a, b)
        } else {
            (dividend, self.v().extend(divisor, 32))
        };
        let high = self.v().part(dividend_m, 16, 16);
        let by = self.low(divisor_m, 16);
        let fits = self.v().less(high, by);
        if !self.decide(fits)? {
            if signed {
                let c = self.either(dn, 32, 14, 12);
                self.idle_value(c);
            } else {
                self.idle(6);
            }
            return self.division_overflow();
        }
        let q = self.v().quotient(dividend_m, divisor_m);
        let r = self.v().remainder(dividend_m, divisor_m);
        if !signed {
            let clocks = self.unsigned_clocks(dividend, divisor);
            self.idle_value(clocks);
            self.finish()?;
            return self.divided(opcode, q, r);
        }
        let start = self.either(dn, 32, 14, 12);
        let when_pos = self.either(dn, 32, 112 - 4, 108 - 4);
        let neg = self.number(32, 110 - 4);
        let signs = self.v().either(vn, neg, when_pos);
        let bits = self.v().part(q, 1, 15);
        let bits = self.v().extend(bits, 16);
        let ones = self.ones(bits);
        let k = self.number(32, 15);
        let zeros = self.v().sub(k, ones);
        let twice = self.v().add(zeros, zeros);
        let clocks = self.v().add(signs, twice);
        let clocks = self.v().add(clocks, start);
        self.idle_value(clocks);
        let minus = self.v().xor(dn, vn);
        let most = self.either(minus, 32, 0x8000, 0x7FFF);
        let beyond = self.v().less(most, q);
        if self.decide(beyond)? {
            return self.division_overflow();
        }
        let z = self.number(32, 0);
        let (nq, nr) = (self.v().sub(z, q), self.v().sub(z, r));
        let q = self.v().either(minus, nq, q);
        let r = self.v().either(dn, nr, r);
        self.finish()?;
        self.divided(opcode, q, r)
    }
    fn division_overflow(&mut self) -> Run<W> {
        let (yes, no) = (self.bit(true), self.bit(false));
        self.set_flag(Flag::Negative, yes);
        self.set_flag(Flag::Zero, no);
        self.set_flag(Flag::Overflow, yes);
        self.set_flag(Flag::Carry, no);
        self.finish()
    }
    fn divided(&mut self, opcode: u16, q: ValueOf<W>, r: ValueOf<W>) -> Run<W> {
        let (q, r) = (self.low(q, 16), self.low(r, 16));
        let both = self.v().join(r, q);
        self.set_data(Size::Long, opcode >> 9, both);
        self.logical(q);
        Ok(())
    }
    fn unsigned_clocks(&mut self, dividend: ValueOf<W>, divisor: ValueOf<W>) -> ValueOf<W> {
        let zero = self.number(16, 0);
        let by = self.v().join(divisor, zero);
        let mut rest = dividend;
        let mut clocks = self.number(32, 72);
        for _ in 0..15 {
            let carry = self.v().part(rest, 31, 1);
            let one = self.number(32, 1);
            let doubled = self.v().shift_left(rest, one);
            let less = self.v().less(doubled, by);
            let fewer = self.v().sub(doubled, by);
            let nc = self.v().not(carry);
            let keep = self.v().and(nc, less);
            rest = self.v().either(keep, doubled, fewer);
            let inner = self.either(less, 32, 4, 2);
            let z = self.number(32, 0);
            let more = self.v().either(carry, z, inner);
            clocks = self.v().add(clocks, more);
        }
        clocks
    }
}
