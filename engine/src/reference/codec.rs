//! A reference as a file: postcard in the envelope of [`crate::file`], small enough for a board's
//! flash. `docs/WIRE.md` has the layout.

use super::check::{self, Corners, Nodes};
use super::nodes::{Coded, Predictor, bend_at, restore_curvature, spacing_mm};
use super::{CarCurves, Frame, ReferenceStore, ReferenceView, Session};
use crate::check::Field;
use crate::file::{FileFault, MakeFault, Part, Problem, Reader, Writer};
use serde::{Deserialize, Serialize};

/// The first bytes of a reference file.
pub const MAGIC: [u8; 8] = *b"CUEPOSTR";
/// Version of the layout.
pub const VERSION: u8 = 3;

/// What comes first: how to read the rest.
#[derive(Serialize, Deserialize)]
struct Head {
    frame: Frame,
    spacing_m: f32,
    corners: u16,
    landmarks: u16,
    nodes: u16,
}

/// Writes a reference as a file into `out`; returns its length. What is not valid is not written.
pub fn encode(view: &ReferenceView<'_>, out: &mut [u8]) -> Result<usize, MakeFault> {
    check::check(view).map_err(MakeFault::Invalid)?;
    let count = |part, n: usize| {
        u16::try_from(n).map_err(|_| {
            MakeFault::Invalid(Problem::Capacity {
                part,
                most: u16::MAX,
                found: u16::MAX,
            })
        })
    };
    let mut writer = Writer::begin(&MAGIC, VERSION, out)?;
    writer.put(&Head {
        frame: view.frame,
        spacing_m: view.spacing_m,
        corners: count(Part::Corner, view.corners.len())?,
        landmarks: count(Part::Landmark, view.landmarks.len())?,
        nodes: count(Part::Node, view.nodes.len())?,
    })?;
    writer.put(view.session)?;
    writer.put(view.car)?;
    for corner in view.corners {
        writer.put(corner)?;
    }
    for landmark in view.landmarks {
        writer.put(landmark)?;
    }
    let mut predictor = Predictor::new(view.spacing_m);
    let spacing = spacing_mm(view.spacing_m);
    for (i, node) in view.nodes.iter().enumerate() {
        let mut coded = predictor.code(*node);
        let bend = bend_at(spacing, view.nodes, i).unwrap_or(0);
        coded.4 = i32::from(node.curvature_e5.wrapping_sub(bend));
        writer.put(&coded)?;
    }
    writer.finish()
}

/// Reads a reference file into a store; returns its id, the CRC-32 of the file.
///
/// Bounded by the store's capacities. When anything is wrong the store is left empty, so that a
/// view of an invalid file cannot be had.
pub fn decode<const N: usize, const C: usize, const L: usize>(
    bytes: &[u8],
    store: &mut ReferenceStore<N, C, L>,
) -> Result<u32, FileFault> {
    let result = read(bytes, store);
    if result.is_err() {
        store.clear();
    }
    result
}

fn read<const N: usize, const C: usize, const L: usize>(
    bytes: &[u8],
    store: &mut ReferenceStore<N, C, L>,
) -> Result<u32, FileFault> {
    store.clear();
    let mut reader = Reader::open(&MAGIC, VERSION, bytes)?;
    let at = reader.at();
    let head: Head = reader.take(Part::Head)?;
    check::head(&head.frame, head.spacing_m, usize::from(head.nodes))
        .map_err(|f| value(at, Part::Head, 0, f))?;
    for (part, most, found) in [
        (Part::Corner, C, head.corners),
        (Part::Landmark, L, head.landmarks),
        (Part::Node, N, head.nodes),
    ] {
        if usize::from(found) > most {
            let most = u16::try_from(most).unwrap_or(u16::MAX);
            let what = Problem::Capacity { part, most, found };
            return Err(FileFault { at, what });
        }
    }
    store.frame = head.frame;
    store.spacing_m = head.spacing_m;
    let at = reader.at();
    store.session = reader.take::<Session>(Part::Session)?;
    check::session(&store.session).map_err(|f| value(at, Part::Session, 0, f))?;
    let at = reader.at();
    store.car = reader.take::<CarCurves>(Part::Car)?;
    check::car(&store.car).map_err(|f| value(at, Part::Car, 0, f))?;
    let length_m = head.spacing_m * f32::from(head.nodes);
    read_corners(&mut reader, head.corners, length_m, store)?;
    read_landmarks(&mut reader, head.landmarks, length_m, store)?;
    read_nodes(&mut reader, head.nodes, store)?;
    reader.finish(Part::Node)?;
    Ok(reader.id)
}

fn value(at: u32, part: Part, index: u16, field: Field) -> FileFault {
    FileFault {
        at,
        what: Problem::Value { part, index, field },
    }
}

/// What a full store says, though its capacity was compared before.
fn full(at: u32, part: Part, most: usize) -> FileFault {
    let most = u16::try_from(most).unwrap_or(u16::MAX);
    FileFault {
        at,
        what: Problem::Capacity {
            part,
            most,
            found: most.saturating_add(1),
        },
    }
}

fn read_corners<const N: usize, const C: usize, const L: usize>(
    reader: &mut Reader<'_>,
    count: u16,
    length_m: f32,
    store: &mut ReferenceStore<N, C, L>,
) -> Result<(), FileFault> {
    let mut order = Corners::new(length_m);
    for i in 0..count {
        let at = reader.at();
        let corner = reader.take(Part::Corner)?;
        order
            .next(&corner)
            .map_err(|f| value(at, Part::Corner, i, f))?;
        store
            .corners
            .push(corner)
            .map_err(|_| full(at, Part::Corner, C))?;
    }
    order
        .end()
        .map_err(|f| value(reader.at(), Part::Corner, count.saturating_sub(1), f))
}

fn read_landmarks<const N: usize, const C: usize, const L: usize>(
    reader: &mut Reader<'_>,
    count: u16,
    length_m: f32,
    store: &mut ReferenceStore<N, C, L>,
) -> Result<(), FileFault> {
    let mut before_m = 0.0;
    for i in 0..count {
        let at = reader.at();
        let landmark = reader.take(Part::Landmark)?;
        check::landmark(&landmark, &mut before_m, length_m)
            .map_err(|f| value(at, Part::Landmark, i, f))?;
        store
            .landmarks
            .push(landmark)
            .map_err(|_| full(at, Part::Landmark, L))?;
    }
    Ok(())
}

fn read_nodes<const N: usize, const C: usize, const L: usize>(
    reader: &mut Reader<'_>,
    count: u16,
    store: &mut ReferenceStore<N, C, L>,
) -> Result<(), FileFault> {
    let mut order = Nodes::new(store.spacing_m, store.session.lap_time_us);
    let mut predictor = Predictor::new(store.spacing_m);
    for i in 0..count {
        let at = reader.at();
        let coded: Coded = reader.take(Part::Node)?;
        let node = predictor.decode(coded).ok_or(FileFault {
            at,
            what: Problem::Malformed(Part::Node),
        })?;
        order.next(&node).map_err(|f| value(at, Part::Node, i, f))?;
        store
            .nodes
            .push(node)
            .map_err(|_| full(at, Part::Node, N))?;
    }
    let at = reader.at();
    order
        .end()
        .map_err(|f| value(at, Part::Node, count.saturating_sub(1), f))?;
    restore_curvature(store.spacing_m, &mut store.nodes);
    Ok(())
}
