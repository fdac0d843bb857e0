package dwell

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Pieces describes what lies on the belts. Exactly one of Pitch and Rate has a unit.
type Pieces struct {
	Length   units.Quantity // along the belt
	Pitch    units.Quantity // on the first belt, leading edge to leading edge in a row
	Rate     units.Quantity // of all rows together
	Rows     int32          // side by side; 0 means 1
	Mass     units.Quantity // of one piece; a nil Unit: not known
	LeastGap units.Quantity // between a piece and the next in its row; a nil Unit: any above 0
}

// Throughput is what pieces do on the belts at their setpoints.
type Throughput struct {
	PieceRate     units.Quantity // of all rows
	MassRate      units.Quantity // where a mass is known
	Belts         []Load
	WorkInProcess units.Quantity // pieces on the way from entrance to exit, on average
	MassInProcess units.Quantity // where a mass is known
	FirstOut      units.Quantity // from a leading edge at the entrance to that edge at the exit
	LineClear     units.Quantity // from a leading edge at the entrance to the trailing edge at the exit
}

// Load is how pieces lie on one belt.
type Load struct {
	DriveID     string
	Pitch, Gap  units.Quantity
	Loading     units.Quantity // pieces per length, all rows
	MassLoading units.Quantity // where a mass is known
}

var (
	piece            = units.MustParse("pc")
	piecePerMin      = units.MustParse("pc/min")
	piecePerMetre    = units.MustParse("pc/m")
	kilogram         = units.MustParse("kg")
	kilogramPerHour  = units.MustParse("kg/h")
	kilogramPerPiece = units.MustParse("kg/pc")
	kilogramPerM     = units.MustParse("kg/m")
)

func (p *Pieces) validate(faults *fault.List) {
	root := fault.Root("pieces")
	sound := scaling.ValidatePositive(p.Length, &root, faults, "length", units.LengthDim)
	scaling.ValidateZeroOrMore(p.LeastGap, &root, faults, "leastGap", units.LengthDim)
	if p.Mass.Unit != nil {
		scaling.ValidatePositive(p.Mass, &root, faults, "mass", units.MassDim, units.MassPerPiece)
	}
	if p.Rows < 0 || p.Rows > 10000 {
		at := root.Field("rows")
		faults.Add(&at, fault.OutOfRange, "is %d; it must be 1 to 10000", p.Rows)
	}
	switch {
	case p.Rate.Unit != nil:
		scaling.ValidatePositive(p.Rate, &root, faults, "rate", units.PieceRate)
	case p.Pitch.Unit != nil:
		sound = scaling.ValidatePositive(p.Pitch, &root, faults, "pitch", units.LengthDim) && sound
		if sound && isLess(p.Pitch, p.Length) {
			at := root.Field("pitch")
			faults.Add(&at, fault.OutOfRange, "is %v %s, shorter than a piece of %v %s: the pieces would overlap; a pitch is from leading edge to leading edge",
				p.Pitch.Value, p.Pitch.Unit.Symbol(), p.Length.Value, p.Length.Unit.Symbol())
		}
	}
}

func (p *Pieces) rows(c *exact.Calc) exact.Num { return c.Int(int64(max(p.Rows, 1))) }

// perMinute returns the pieces that pass in a minute, of all rows.
//
//	rows * speed of the first belt / pitch
func (p *Pieces) perMinute(c *exact.Calc, first exact.Num) exact.Num {
	if p.Rate.Unit != nil {
		return p.Rate.Base(c)
	}
	return first.Quo(p.Pitch.Base(c)).Mul(p.rows(c))
}

// throughput adds what the pieces do at the speeds of run. Pieces neither vanish nor
// queue, so their rate is that of every belt, and at a transfer the pitch follows
// the ratio of the speeds:
//
//	pitch            rows * speed / rate
//	gap              pitch - length
//	loading          rate / speed
//	work in process  rate * time of a point from entrance to exit
//
// Source: conservation; Little, Operations Research 9 (1961) 383, for the last.
func (f *finder) throughput(c *exact.Calc, run *moving, out *Answer) {
	p := f.Pieces
	rate := p.perMinute(c, run.speeds[f.drives[0].ID])
	t := &Throughput{PieceRate: base(c, rate, piecePerMin)}
	for _, d := range f.drives {
		t.Belts = append(t.Belts, f.load(c, d, rate, run.speeds[d.ID], out))
	}
	inside := rate.Mul(f.through(c, run, Point))
	t.WorkInProcess = base(c, inside, piece)
	t.FirstOut, t.LineClear = f.time(c, f.through(c, run, leadingEdge)), f.time(c, f.through(c, run, AnyPart))
	if p.Mass.Unit != nil {
		mass := p.Mass.Base(c)
		t.MassRate, t.MassInProcess = base(c, rate.Mul(mass), kilogramPerHour), base(c, inside.Mul(mass), kilogram)
	}
	out.Throughput = t
}

func base(c *exact.Calc, n exact.Num, u *units.Unit) units.Quantity {
	return units.Quantity{Value: units.FromBase(c, n, u).Float(), Unit: u}
}

// through returns how long a described piece takes through the sections.
func (f *finder) through(c *exact.Calc, run *moving, m Meaning) exact.Num {
	r := Route{Sections: f.route.Sections, Piece: Piece{Length: f.Pieces.Length, Meaning: m}}
	sum := c.Int(0)
	for _, d := range f.drives {
		sum = sum.Add(r.Way(c, d.ID).Quo(run.speeds[d.ID]))
	}
	return sum
}

// load finds how pieces lie on one belt, and adds a check where they come too close.
func (f *finder) load(c *exact.Calc, d *scaling.Drive, rate, speed exact.Num, out *Answer) Load {
	p, unit := f.Pieces, f.Pieces.Length.Unit
	length := p.Length.Base(c)
	pitch := speed.Mul(p.rows(c)).Quo(rate)
	gap := pitch.Sub(length)
	l := Load{DriveID: d.ID, Pitch: base(c, pitch, unit), Gap: base(c, gap, unit), Loading: base(c, rate.Quo(speed), piecePerMetre)}
	if p.Mass.Unit != nil {
		l.MassLoading = base(c, rate.Quo(speed).Mul(p.Mass.Base(c)), kilogramPerM)
	}
	switch {
	case c.Sign(gap) <= 0:
		out.Checks = append(out.Checks, scaling.Check{Code: scaling.PiecesWouldTouch, DriveID: d.ID, Field: f.spacing(), Limit: l.Pitch})
	case p.LeastGap.Unit != nil && c.Cmp(gap, p.LeastGap.Base(c)) < 0:
		out.Checks = append(out.Checks, scaling.Check{Code: scaling.GapBelowLeast, DriveID: d.ID, Field: "pieces.leastGap", Limit: l.Gap})
	}
	return l
}

// spacing names the field that sets how close pieces lie.
func (f *finder) spacing() string {
	if f.Pieces.Rate.Unit != nil {
		return "pieces.rate"
	}
	return "pieces.pitch"
}

// checkDeadPlates warns where a piece is too short to be pushed over a dead plate
// by the belt that its tail still lies on.
func (f *finder) checkDeadPlates(c *exact.Calc, out *Answer) {
	length, field := f.Demand.Piece.Length, "dwell."+meaningFields[f.Demand.Piece.Meaning]+".length"
	if f.Pieces != nil {
		length, field = f.Pieces.Length, "pieces.length"
	}
	for i, s := range f.route.Sections[:len(f.route.Sections)-1] {
		if length.Unit == nil || s.DeadPlate.Unit == nil || s.DeadPlate.Value == 0 {
			continue
		}
		if c.Cmp(length.Base(c), s.DeadPlate.Base(c)) <= 0 {
			out.Checks = append(out.Checks, scaling.Check{Code: scaling.DeadPlateNotBridged, DriveID: s.DriveID, Field: field, Name: f.route.Sections[i].ID, Limit: s.DeadPlate})
		}
	}
}
