//! temp
use super::access::Place;
use super::alu::Alu;
use super::operand::Operand;
use super::size::Size;
use super::{Processor, Run};
use crate::prove::{Domain, ValueOf, World};

impl<W: World> Processor<'_, W> {
    pub(super) fn alu_to_register(&mut self, opcode: u16, alu: Alu) -> Run<W> {
        let size = Size::of(opcode);
        let operand = self.operand(opcode, size)?;
        let source = self.value(operand, size)?;
        self.finish()?;
        if size == Size::Long {
            let fast = alu == Alu::Cmp || matches!(operand, Operand::Memory(_));
            self.idle(if fast { 2 } else { 4 });
        }
        let destination = self.data(size, opcode >> 9);
        let result = self.compute(alu, source, destination);
        if alu != Alu::Cmp {
            self.set_data(size, opcode >> 9, result);
        }
        Ok(())
    }
    pub(super) fn alu_to_memory(&mut self, opcode: u16, alu: Alu) -> Run<W> {
        let size = Size::of(opcode);
        let place = self.place(opcode, size)?;
        let source = self.data(size, opcode >> 9);
        self.modify(alu, size, place, source)
    }
    pub(super) fn modify(&mut self, alu: Alu, size: Size, place: Place<ValueOf<W>>, source: ValueOf<W>) -> Run<W> {
        let old = self.read(size, place)?;
        let place = place.even();
        let result = self.compute(alu, source, old);
        self.finish()?;
        self.write_back(size, place, result)
    }
    pub(super) fn alu_to_address(&mut self, opcode: u16, alu: Alu) -> Run<W> {
        let size = Size::long_if(opcode & 0x100 != 0);
        let operand = self.operand(opcode, size)?;
        let source = self.value(operand, size)?;
        let source = self.signed(source);
        self.finish()?;
        let slow = size == Size::Word || !matches!(operand, Operand::Memory(_));
        self.idle(if slow && alu != Alu::Cmp { 4 } else { 2 });
        let number = opcode >> 9 & 7;
        let old = self.address(number);
        match alu {
            Alu::Add => {
                let new = self.v().add(old, source);
                self.set_address(number, new);
            }
            Alu::Sub => {
                let new = self.v().sub(old, source);
                self.set_address(number, new);
            }
            _ => {
                self.compute(Alu::Cmp, source, old);
            }
        }
        Ok(())
    }
    pub(super) fn immediate_alu(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let alu = Alu::of_immediate(opcode);
        let source = self.immediate(size)?;
        if opcode >> 3 & 7 == 0 {
            self.finish()?;
            if size == Size::Long {
                self.idle(if alu == Alu::Cmp { 2 } else { 4 });
            }
            let old = self.data(size, opcode);
            let result = self.compute(alu, source, old);
            if alu != Alu::Cmp {
                self.set_data(size, opcode, result);
            }
            return Ok(());
        }
        let place = self.place(opcode, size)?;
        if alu == Alu::Cmp {
            let value = self.read(size, place)?;
            self.finish()?;
            self.compute(alu, source, value);
            return Ok(());
        }
        self.modify(alu, size, place, source)
    }
    pub(super) fn quick(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let adds = opcode & 0x100 == 0;
        let alu = if adds { Alu::Add } else { Alu::Sub };
        let data = u32::from(if opcode >> 9 & 7 == 0 { 8 } else { opcode >> 9 & 7 });
        match self.operand(opcode, size)? {
            Operand::Memory(place) => {
                let source = self.number(size.bits(), data);
                self.modify(alu, size, place, source)
            }
            Operand::Data(number) => {
                let source = self.number(size.bits(), data);
                let old = self.data(size, number);
                let result = self.compute(alu, source, old);
                self.set_data(size, number, result);
                self.finish()?;
                if size == Size::Long {
                    self.idle(4);
                }
                Ok(())
            }
            _ => {
                self.finish()?;
                self.idle(4);
                self.advance(opcode & 7, if adds { data } else { data.wrapping_neg() });
                Ok(())
            }
        }
    }
    pub(super) fn extended_op(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        let adds = opcode & 0x4000 != 0;
        if opcode & 8 == 0 {
            let (source, destination) = (self.data(size, opcode), self.data(size, opcode >> 9));
            let result = self.extended(adds, source, destination);
            self.set_data(size, opcode >> 9, result);
            self.finish()?;
            if size == Size::Long {
                self.idle(4);
            }
            return Ok(());
        }
        self.core.fault_pc = self.core.at.wrapping_add(4);
        self.idle(2);
        let (_, source) = self.read_before(opcode, size)?;
        let (address, destination) = self.read_before(opcode >> 9, size)?;
        let result = self.extended(adds, source, destination);
        if size != Size::Long {
            self.finish()?;
            return self.write(size, Place::data(address), result);
        }
        let (high, low) = self.halves(result);
        let next = self.plus(address, 2);
        self.store_word(next, low)?;
        self.finish()?;
        self.store_word(address, high)
    }
    fn read_before(&mut self, number: u16, size: Size) -> Run<W, (ValueOf<W>, ValueOf<W>)> {
        let number = number & 7;
        let old = self.address(number);
        let address = self.plus(old, size.stride(number).wrapping_neg());
        if size != Size::Long {
            self.set_address(number, address);
            return Ok((address, self.read(size, Place::data(address))?));
        }
        let next = self.plus(address, 2);
        let low = self.read(Size::Word, Place::data(next))?;
        self.set_address(number, address);
        let high = self.load_word(address, false)?;
        Ok((address, self.v().join(high, low)))
    }
    pub(super) fn cmpm(&mut self, opcode: u16) -> Run<W> {
        let size = Size::of(opcode);
        self.core.fault_pc = self.core.at.wrapping_add(4);
        let (from, to) = (opcode & 7, opcode >> 9 & 7);
        let address = self.address(from);
        if size != Size::Byte && self.odd(address)? {
            self.advance(from, 2);
        }
        let source = self.read(size, Place::data(address))?;
        self.advance(from, size.stride(from));
        let address = self.address(to);
        let destination = self.read(size, Place::data(address))?;
        self.advance(to, size.stride(to));
        self.finish()?;
        self.compute(Alu::Cmp, source, destination);
        Ok(())
    }
    pub(super) fn decimal(&mut self, opcode: u16) -> Run<W> {
        let adds = opcode & 0x4000 != 0;
        if opcode & 8 == 0 {
            let (source, destination) = (self.data(Size::Byte, opcode), self.data(Size::Byte, opcode >> 9));
            let result = self.decimal_result(adds, source, destination);
            self.set_data(Size::Byte, opcode >> 9, result);
            self.finish()?;
            self.idle(2);
            return Ok(());
        }
        self.idle(2);
        let (_, source) = self.read_before(opcode, Size::Byte)?;
        let (address, destination) = self.read_before(opcode >> 9, Size::Byte)?;
        let result = self.decimal_result(adds, source, destination);
        self.finish()?;
        self.write(Size::Byte, Place::data(address), result)
    }
    pub(super) fn decimal_result(&mut self, adds: bool, source: ValueOf<W>, destination: ValueOf<W>) -> ValueOf<W> {
        use super::registers::Flag;
        let x = self.flag(Flag::Extend);
        let v = self.v();
        let [s, d, x] = [source, destination, x].map(|it| v.extend(it, 16));
        let (result, carry) = if adds {
            let sum = v.add(s, d);
            let sum = v.add(sum, x);
            let ns = v.not(sum);
            let a = v.and(s, d);
            let b = v.and(ns, s);
            let c = v.and(ns, d);
            let bin = v.or(a, b);
            let bin = v.or(bin, c);
            let m = v.number(16, 0x88);
            let bin = v.and(bin, m);
            let k = v.number(16, 0x66);
            let t = v.add(sum, k);
            let t = v.xor(t, sum);
            let m = v.number(16, 0x110);
            let dec = v.and(t, m);
            let one = v.number(16, 1);
            let dec = v.shift_right(dec, one);
            let carries = v.or(bin, dec);
            let two = v.number(16, 2);
            let q = v.shift_right(carries, two);
            let add = v.sub(carries, q);
            let r = v.add(sum, add);
            let nr = v.not(r);
            let e = v.and(sum, nr);
            let c = v.or(bin, e);
            let c = v.part(c, 7, 1);
            let o = v.and(ns, r);
            let o = v.part(o, 7, 1);
            self.set_flag(Flag::Overflow, o);
            (r, c)
        } else {
            let dif = v.sub(d, s);
            let dif = v.sub(dif, x);
            let nd = v.not(d);
            let a = v.and(nd, s);
            let b = v.and(dif, nd);
            let c = v.and(dif, s);
            let bor = v.or(a, b);
            let bor = v.or(bor, c);
            let m = v.number(16, 0x88);
            let bor = v.and(bor, m);
            let two = v.number(16, 2);
            let q = v.shift_right(bor, two);
            let sub = v.sub(bor, q);
            let r = v.sub(dif, sub);
            let ndif = v.not(dif);
            let e = v.and(ndif, r);
            let c = v.or(bor, e);
            let c = v.part(c, 7, 1);
            let nr = v.not(r);
            let o = v.and(dif, nr);
            let o = v.part(o, 7, 1);
            self.set_flag(Flag::Overflow, o);
            (r, c)
        };
        self.set_flag(Flag::Carry, carry);
        self.set_flag(Flag::Extend, carry);
        let byte = self.low(result, 8);
        let n = self.sign(byte);
        self.set_flag(Flag::Negative, n);
        self.keep_zero(byte);
        byte
    }
}
