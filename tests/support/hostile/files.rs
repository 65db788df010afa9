//! References and thresholds as files.

use cuepost_engine::file::{FileFault, HEAD};
use cuepost_engine::reference::{self, ReferenceStore};
use cuepost_engine::thresholds::{MAGIC as CONFIG, VERSION as CONFIG_VERSION};
use cuepost_engine::wire::frame::crc32;
use cuepost_engine::{Config, Engine, Frame, Node, Position, Sample};
use cuepost_host::thresholds_file;

/// A small one, so that its capacities are met too.
type Store = ReferenceStore<600, 24, 8>;

/// The bytes as they are, and as the content of a file whose envelope is whole.
fn both<T>(
    data: &[u8],
    (magic, version): (&[u8; 8], u8),
    read: impl Fn(&[u8]) -> Result<T, FileFault>,
) -> Vec<T> {
    let mut file = magic.to_vec();
    file.push(version);
    file.extend_from_slice(&((HEAD + data.len() + 4) as u32).to_le_bytes());
    file.extend_from_slice(data);
    let crc = crc32(&file);
    file.extend_from_slice(&crc.to_le_bytes());
    [data, &file]
        .into_iter()
        .filter_map(|bytes| match read(bytes) {
            Ok(value) => Some(value),
            Err(fault) => {
                assert!(fault.at as usize <= bytes.len(), "{fault:?}");
                assert!(!fault.to_string().is_empty());
                None
            }
        })
        .collect()
}

/// A reference that is read is valid, is written as it was read, and can be driven against.
pub fn reference(data: &[u8]) {
    for store in both(data, (&reference::MAGIC, reference::VERSION), |bytes| {
        let mut store = Box::new(Store::new());
        reference::decode(bytes, &mut *store).map(|_| store)
    }) {
        let mut bytes = vec![0; 1 << 16];
        let n = reference::encode(&store.view(), &mut bytes).expect("valid");
        let mut again = Box::new(Store::new());
        reference::decode(&bytes[..n], &mut *again).expect("as it was written");
        assert_eq!(again.nodes, store.nodes);
        assert_eq!(again.corners, store.corners);
        drive(&store);
    }
}

/// Along its own nodes, at its own speed.
fn drive(store: &Store) {
    let view = store.view();
    let mut engine = Engine::new(Config::default());
    let positions = (0..2).flat_map(|_| view.nodes).take(400);
    let mut time_us = 0;
    for node in positions {
        time_us += 40_000;
        let sample = Sample {
            time_us,
            position: Some(position(&view.frame, node)),
            speed_mps: Some(f32::from(node.speed_cmps) * 0.01),
            ..Sample::default()
        };
        engine.feed(&view, &sample);
    }
    engine.finish(&view);
}

/// Thresholds that are read are valid and come back unchanged, from text and from a board's form.
pub fn thresholds(data: &[u8]) {
    let mut read = both(data, (&CONFIG, CONFIG_VERSION), |bytes| {
        Config::decode(bytes).map(|(c, _)| c)
    });
    if let Ok(text) = std::str::from_utf8(data) {
        match thresholds_file::parse(text) {
            Ok(config) => read.push(config),
            Err(why) => assert!(why.starts_with("line "), "{why}"),
        }
    }
    for config in read {
        config.validate().expect("valid");
        let bytes = thresholds_file::to_bytes(&config).expect("fits");
        assert_eq!(Config::decode(&bytes).map(|(c, _)| c), Ok(config.clone()));
        let text = thresholds_file::write(&config);
        let again = thresholds_file::parse(&text).unwrap_or_else(|e| panic!("{e}\n{text}"));
        assert_eq!(again.thresholds, config.thresholds, "{text}");
    }
}

fn position(frame: &Frame, node: &Node) -> Position {
    match *frame {
        Frame::Local { east_mm, north_mm } => Position::Local {
            east_mm: east_mm + i64::from(node.east_mm),
            north_mm: north_mm + i64::from(node.north_mm),
        },
        Frame::Geodetic {
            lat_e7,
            lon_e7,
            east_m,
            north_m,
            ..
        } => Position::Geodetic {
            lat_e7: lat_e7.saturating_add((node.north_mm as f32 * 1e-3 / north_m) as i32),
            lon_e7: lon_e7.saturating_add((node.east_mm as f32 * 1e-3 / east_m) as i32),
        },
    }
}
