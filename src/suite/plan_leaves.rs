//! What ports must hold at the end: the key `leaves` of branches and cases, from names to ports and values.

use super::document::KeyPath;
use super::plan_board::port_value;
use super::refusal::Refusal;
use super::scalar::Number;
use crate::board::Map;

/// The ports and values of `leaves`. A refusal's place is below that key.
pub fn leaves(map: &Map, given: &[(String, Number)]) -> Result<Vec<(usize, u16)>, Refusal> {
    if given.is_empty() {
        return Err(Refusal::new(KeyPath::root(), "this expects nothing; leave the key out"));
    }
    given.iter().map(|(name, value)| port(map, name, *value)).collect()
}

fn port(map: &Map, name: &str, value: Number) -> Result<(usize, u16), Refusal> {
    let at = KeyPath::root().key(name);
    let ports = map.ports();
    let Some(index) = ports.iter().position(|port| port.name == name) else {
        return Err(Refusal::unknown_key(at, "port", name, ports.iter().map(|port| port.name.as_str())));
    };
    let port = &ports[index];
    let Some(declared) = &port.writes else {
        return Err(Refusal::of_key(at, format!("the port `{name}` cannot be written")));
    };
    let value = port_value(value, port.size).map_err(|message| Refusal::new(at.clone(), message))?;
    if !declared.contains(&value) && value != port.power_on {
        let message =
            format!("the `writes` of `{name}` do not list {value}, and it is not what the port holds at power-on");
        return Err(Refusal::new(at, message));
    }
    Ok((index, value))
}
