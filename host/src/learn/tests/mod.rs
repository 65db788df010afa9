mod circuits;
mod screening;
mod track;
