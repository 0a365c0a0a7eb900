package labels

// Holds reports whether inner lies within b, give or take a thousandth of a
// millimetre of rounding.
func (b Box) Holds(inner Box) bool {
	const slack = 0.001
	return inner.X >= b.X-slack && inner.Y >= b.Y-slack &&
		inner.right() <= b.right()+slack && inner.bottom() <= b.bottom()+slack
}

// Overlaps reports whether the two boxes share more than a thousandth of a
// millimetre in both directions.
func (b Box) Overlaps(o Box) bool {
	const slack = 0.001
	return b.X < o.right()-slack && o.X < b.right()-slack &&
		b.Y < o.bottom()-slack && o.Y < b.bottom()-slack
}
