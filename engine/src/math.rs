//! The few functions `core` lacks, from `libm`, so that every target computes the same bits.

/// Square root.
pub fn sqrt(x: f32) -> f32 {
    libm::sqrtf(x)
}

/// Length of a plane vector.
pub fn hypot(x: f32, y: f32) -> f32 {
    libm::sqrtf(x * x + y * y)
}

/// Direction of a plane vector, radians counter-clockwise from the x axis, in [-π, π].
pub fn atan2(y: f32, x: f32) -> f32 {
    libm::atan2f(y, x)
}

/// An angle brought into [-π, π]. Bounded work for any input; NaN stays NaN.
pub fn wrap_angle(a: f32) -> f32 {
    const TURN: f32 = core::f32::consts::TAU;
    a - TURN * libm::roundf(a / TURN)
}
