//! Whatever comes: no panic, and what is accepted is exactly one message's one spelling.

use crate::messages::{frame, read, wrap};
use crate::random::{Random, message, seeds};
use cuepost_engine::check::Check;
use cuepost_engine::wire::*;
use cuepost_engine::{Position, Sample};
use proptest::prelude::*;

fn number() -> impl Strategy<Value = Option<f32>> {
    proptest::option::of(prop_oneof![any::<f32>(), -2.0f32..250.0, Just(f32::NAN)])
}

fn position() -> impl Strategy<Value = Option<Position>> {
    proptest::option::of(prop_oneof![
        (any::<i32>(), any::<i32>())
            .prop_map(|(lat_e7, lon_e7)| Position::Geodetic { lat_e7, lon_e7 }),
        (-1i64 << 40..1 << 40, any::<i64>())
            .prop_map(|(east_mm, north_mm)| Position::Local { east_mm, north_mm }),
    ])
}

prop_compose! {
    fn sample()(
        time_us in prop_oneof![any::<u64>(), 0u64..1 << 40],
        position in position(),
        a in (number(), number(), number(), number(), number()),
        b in (number(), number(), number(), number(), number()),
        gear in any::<Option<i8>>(),
    ) -> Sample {
        Sample {
            time_us,
            position,
            speed_mps: a.0,
            direction_rad: a.1,
            position_sd_m: a.2,
            speed_sd_mps: a.3,
            long_acc_mps2: a.4,
            lat_acc_mps2: b.0,
            yaw_rate_rps: b.1,
            brake: b.2,
            throttle: b.3,
            steer: b.4,
            gear,
        }
    }
}

proptest! {
    #[test]
    fn samples_come_back_to_the_bit_or_are_not_sent(sample in sample()) {
        let message = Message::Sample(sample);
        let mut out = [0; FRAME_MAX];
        match (encode(&message, &mut out), sample.check()) {
            (Ok(n), Ok(())) => prop_assert_eq!(read(&out[..n]), [Outcome::Message(message)]),
            (Err(EncodeFault::Value(a)), Err(b)) => prop_assert_eq!(a, b),
            other => prop_assert!(false, "{:?}", other),
        }
    }

    #[test]
    fn any_message_comes_back(seed in any::<u64>()) {
        let message = message(&mut Random(seed), &seeds());
        prop_assert_eq!(read(&frame(&message)), [Outcome::Message(message)]);
    }

    #[test]
    fn a_payload_with_the_right_checksum_is_the_one_spelling_or_refused(
        kind in proptest::sample::select(Kind::ALL),
        payload in proptest::collection::vec(prop_oneof![0u8..3, any::<u8>()], 0..240),
    ) {
        let bytes = wrap(VERSION, kind as u8, &payload);
        for outcome in read(&bytes) {
            if let Outcome::Message(message) = outcome {
                prop_assert_eq!(message.check(), Ok(()));
                prop_assert_eq!(frame(&message), bytes.clone());
            }
        }
    }

    #[test]
    fn after_any_bytes_the_next_frame_is_read(
        garbage in proptest::collection::vec(prop_oneof![Just(0u8), any::<u8>()], 0..2000),
        seed in any::<u64>(),
    ) {
        let message = message(&mut Random(seed), &seeds());
        let mut bytes = garbage;
        bytes.extend(frame(&message));
        prop_assert_eq!(read(&bytes).pop(), Some(Outcome::Message(message)));
    }
}
