mod circuits;
mod plane;
mod screening;
mod spline;
mod track;
