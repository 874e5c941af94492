//! Bytes that protocols add to each frame.
//!
//! Ethernet on the wire: preamble 7, start delimiter 1, header 14 (18 with a VLAN tag), check sequence 4, gap 12 bytes; payload padded to 46 bytes
//! (42 behind a VLAN tag): IEEE Std 802.3-2022 clauses 3.1.1, 3.2 and 4A.4.2 and IEEE 802.1Q (figures read in secondary pages). IPv4 20 bytes without
//! options (RFC 791 section 3.1), IPv6 40 (RFC 8200 section 3), UDP 8 (RFC 768), TCP 20 without options (RFC 9293 section 3.1).
//! The RFC figures are from memory. Hence UDP/IPv6 over Ethernet adds 86 bytes and never pads.

/// One protocol of a stack.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Layer {
    /// Ethernet with its time on the wire: 38 bytes, payload at least 46.
    Ethernet,
    /// A VLAN tag in the Ethernet header: 4 more bytes, payload at least 42.
    Vlan,
    /// IPv4 without options: 20 bytes.
    Ipv4,
    /// IPv6 without extension headers: 40 bytes.
    Ipv6,
    /// UDP: 8 bytes.
    Udp,
    /// TCP without options: 20 bytes.
    Tcp,
}

/// What a stack adds to each frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct FrameOverhead {
    /// Bytes on the wire besides the payload.
    pub overhead_bytes: u32,
    /// Shorter payloads are padded to this many bytes.
    pub min_payload_bytes: u32,
}

/// A stack that cannot be built.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StackError {
    /// No such layer.
    #[error("`{name}` is no protocol layer; known: {}", Layer::names().join(", "))]
    UnknownLayer {
        /// The name given.
        name: String,
    },
    /// A layer that cannot lie on the one before it.
    #[error("{} cannot lie {}", layer.name(), match below { Some(below) => format!("on {}", below.name()), None => "at the bottom of a stack".to_owned() })]
    WrongOrder {
        /// The layer out of place.
        layer: Layer,
        /// The layer named before it, if any.
        below: Option<Layer>,
    },
    /// No layers at all.
    #[error("an empty stack has no frames; name at least one layer")]
    Empty,
}

impl Layer {
    /// Every layer.
    pub const ALL: [Layer; 6] = [
        Layer::Ethernet,
        Layer::Vlan,
        Layer::Ipv4,
        Layer::Ipv6,
        Layer::Udp,
        Layer::Tcp,
    ];

    /// The name used in plans.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Layer::Ethernet => "ethernet",
            Layer::Vlan => "vlan",
            Layer::Ipv4 => "ipv4",
            Layer::Ipv6 => "ipv6",
            Layer::Udp => "udp",
            Layer::Tcp => "tcp",
        }
    }

    /// Every name, in the order of [`Layer::ALL`].
    #[must_use]
    pub fn names() -> Vec<&'static str> {
        Layer::ALL.iter().map(|layer| layer.name()).collect()
    }

    /// The layer of this name.
    ///
    /// # Errors
    /// [`StackError::UnknownLayer`].
    pub fn by_name(name: &str) -> Result<Layer, StackError> {
        Layer::ALL
            .into_iter()
            .find(|layer| layer.name() == name)
            .ok_or_else(|| StackError::UnknownLayer {
                name: name.to_owned(),
            })
    }

    fn bytes(self) -> u32 {
        match self {
            Layer::Ethernet => 7 + 1 + 14 + 4 + 12,
            Layer::Vlan => 4,
            Layer::Ipv4 | Layer::Tcp => 20,
            Layer::Ipv6 => 40,
            Layer::Udp => 8,
        }
    }

    fn lies_on(self, below: Option<Layer>) -> bool {
        match self {
            Layer::Ethernet => below.is_none(),
            Layer::Vlan => below == Some(Layer::Ethernet),
            Layer::Ipv4 | Layer::Ipv6 => {
                matches!(below, None | Some(Layer::Ethernet | Layer::Vlan))
            }
            Layer::Udp | Layer::Tcp => matches!(below, Some(Layer::Ipv4 | Layer::Ipv6)),
        }
    }
}

/// What these layers, lowest first, add to each frame.
///
/// # Errors
/// [`StackError::Empty`], or [`StackError::WrongOrder`] for a layer that cannot lie on the one before it.
pub fn stack_overhead(layers: &[Layer]) -> Result<FrameOverhead, StackError> {
    if layers.is_empty() {
        return Err(StackError::Empty);
    }
    let mut below = None;
    let (mut overhead_bytes, mut least_bytes, mut inside_bytes) = (0, 0u32, 0);
    for &layer in layers {
        if !layer.lies_on(below) {
            return Err(StackError::WrongOrder { layer, below });
        }
        overhead_bytes += layer.bytes();
        match layer {
            Layer::Ethernet => least_bytes = 46,
            Layer::Vlan => least_bytes = 42,
            Layer::Ipv4 | Layer::Ipv6 | Layer::Udp | Layer::Tcp => inside_bytes += layer.bytes(),
        }
        below = Some(layer);
    }
    // The headers inside count towards the padded length: only what they leave is asked of the payload.
    Ok(FrameOverhead {
        overhead_bytes,
        min_payload_bytes: least_bytes.saturating_sub(inside_bytes),
    })
}
