package ratio

import (
	"strconv"

	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Bounds of what is taken of a draw chain.
const (
	leastDraw = 1e-3 // draw ratio
	mostDraw  = 1e3
	// A chain's ratios multiply: this keeps every speed in the domain of exact.Num.
	leastTotalDraw = 1e-9
	mostTotalDraw  = 1e9
)

// Validate adds to faults everything that is wrong with d.
func (d *DrawChain) Validate(faults *fault.List) {
	at := fault.Root("drives")
	validateDrives(d.Drives, &at, faults)
	at = fault.Root("rolls")
	if len(d.Rolls) == 1 {
		faults.Add(&at, fault.OutOfRange, "has one roll; a draw is between at least two")
	}
	d.validateRolls(&at, faults)
	at = fault.Root("leaderId")
	if d.LeaderID != "" && d.roll(d.LeaderID) < 0 {
		faults.Add(&at, fault.NotFound, "no roll has the driveId %q", d.LeaderID)
	}
	scaling.ValidatePositive(d.LeaderRate, nil, faults, "leaderRate", units.SpeedDim, units.Rotation)
	at = fault.Root("tolerance")
	if d.Tolerance != nil {
		scaling.ValidateTolerance(d.Tolerance, &at, faults)
	}
	d.validateDisturbance(faults)
}

func (d *DrawChain) validateRolls(list *fault.Path, faults *fault.List) {
	total, sound := 1.0, true
	for i := range d.Rolls {
		at := list.Index(i)
		roll := &d.Rolls[i]
		d.validateRollDrive(i, &at, faults)
		if !validateDraw(i, roll, &at, faults) {
			sound = false
			continue
		}
		if roll.DrawRatio.Set {
			total *= roll.DrawRatio.Value
		} else {
			total *= 1 + roll.DrawPercent.Value/100
		}
		if sound && !(total >= leastTotalDraw && total <= mostTotalDraw) {
			faults.Add(&at, fault.OutOfRange, "takes the draw from the first roll to %v; it must stay between %v and %v", total, leastTotalDraw, mostTotalDraw)
			sound = false
		}
	}
}

func (d *DrawChain) validateRollDrive(i int, at *fault.Path, faults *fault.List) {
	id := d.Rolls[i].DriveID
	field := at.Field("driveId")
	drive := findDrive(d.Drives, id)
	switch {
	case id == "": // reported where it is required
	case drive < 0:
		faults.Add(&field, fault.NotFound, "no drive of the request has the id %q", id)
	case d.roll(id) < i:
		faults.Add(&field, fault.Duplicate, "drive %q is already %s; a roll stands in the chain once", id, rollPath(d.roll(id)))
	default:
		if dim, known := d.Drives[drive].KnownRateDimension(); known && dim != units.SpeedDim {
			faults.Add(&field, fault.Conflict, "drive %q delivers no length, so it cannot draw; give it a roll or a sprocket, or a reference such as 12 m/min", id)
		}
	}
}

func validateDraw(i int, roll *DrawRoll, at *fault.Path, faults *fault.List) bool {
	percent, ratio := at.Field("drawPercent"), at.Field("drawRatio")
	switch {
	case i == 0 && (roll.DrawPercent.Set || roll.DrawRatio.Set):
		field := &percent
		if roll.DrawRatio.Set {
			field = &ratio
		}
		faults.Add(field, fault.Conflict, "is given for the first roll, which has none before it to draw from; leave it out")
		return false
	case i == 0:
		return true
	case roll.DrawRatio.Set:
		return within(roll.DrawRatio.Value, &ratio, leastDraw, mostDraw, "(1 is no draw)", faults)
	case roll.DrawPercent.Set:
		return within(roll.DrawPercent.Value, &percent, 100*leastDraw-100, 100*mostDraw, "percent (0 is no draw)", faults)
	}
	faults.Add(at, fault.Required, "needs one of drawPercent, drawRatio: the draw from the roll before it")
	return false
}

func (d *DrawChain) validateDisturbance(faults *fault.List) {
	if d.Disturbance == nil {
		return
	}
	root := fault.Root("disturbance")
	id := root.Field("driveId")
	if d.Disturbance.DriveID != "" && d.roll(d.Disturbance.DriveID) < 0 {
		faults.Add(&id, fault.NotFound, "no roll has the driveId %q", d.Disturbance.DriveID)
	}
	percent := root.Field("speedChangePercent")
	if d.Disturbance.SpeedChangePercent == 0 {
		faults.Add(&percent, fault.OutOfRange, "is 0, which disturbs nothing; give the change of the roll's speed, such as -2")
		return
	}
	within(d.Disturbance.SpeedChangePercent, &percent, -99, 1000, "percent of the roll's speed", faults)
}

// roll returns the first roll of a drive, or -1.
func (d *DrawChain) roll(id string) int {
	for i := range d.Rolls {
		if d.Rolls[i].DriveID == id {
			return i
		}
	}
	return -1
}

// leader returns the leader among the rolls.
func (d *DrawChain) leader() int {
	if d.LeaderID == "" {
		return 0
	}
	return d.roll(d.LeaderID)
}

// drive returns the drive of roll i.
func (d *DrawChain) drive(i int) *scaling.Drive {
	return &d.Drives[findDrive(d.Drives, d.Rolls[i].DriveID)]
}

func rollPath(i int) string { return "rolls[" + strconv.Itoa(i) + "]" }
