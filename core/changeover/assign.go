package changeover

import (
	"linepace.example/core/dwell"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// job is what a product asks of one drive, with every name resolved.
type job struct {
	demand    int32 // in the product's demands, or -1
	blend     int32 // in the product's blends, or -1
	component int32 // in the blend's components
	leader    int32 // the drive that is followed, or -1
	section   int32 // the line's section of a dwell of a point in it, or -1
	route     int32 // in the planner's routes, of any other dwell, or -1
	material  int32 // in the product's materials, or -1
	depth     int32 // leaders before it in its chain
}

var noJob = job{demand: -1, blend: -1, leader: -1, section: -1, route: -1, material: -1}

// planner plans one product on one line.
type planner struct {
	*lineIndex
	line      *Line
	product   *Product
	fields    fields
	jobs      []job // by drive of the line
	routes    []dwell.Route
	materials index[scaling.Material]
	next      int // the drive behind the one that was given a job last
}

// fields says where in the request the parts of the product stand.
type fields struct {
	product   string
	materials fault.Path
	demands   fault.Path
	blends    fault.Path // of the one blend, where alone
	alone     bool       // a blend is asked for by itself
	again     bool       // another one of the same materials
}

// drive names drive i of the line.
func (f *fields) drive(i int) string {
	list := fault.Root("drives")
	if !f.alone {
		line := fault.Root("line")
		list = line.Field("drives")
	}
	at := list.Index(i)
	return at.String()
}

// line and bringer name, for people, what the drives and the materials are a part of.
func (f *fields) line() string    { return f.partOf("line") }
func (f *fields) bringer() string { return f.partOf("product") }

func (f *fields) partOf(whole string) string {
	if f.alone {
		return "request"
	}
	return whole
}

func fieldsOf(product *fault.Path) fields {
	return fields{product: product.String(), materials: product.Field("materials"), demands: product.Field("demands"), blends: product.Field("blends")}
}

// blend returns the path of blend i.
func (f *fields) blend(i int) fault.Path {
	if f.alone {
		return f.blends
	}
	return f.blends.Index(i)
}

func newPlanner(line *Line, of *lineIndex, product *Product, at fields) *planner {
	p := &planner{lineIndex: of, line: line, product: product, fields: at, jobs: make([]job, len(line.Drives))}
	p.materials = newIndex(product.Materials, func(m *scaling.Material) string { return m.ID })
	for i := range p.jobs {
		p.jobs[i] = noJob
	}
	return p
}

// assign resolves every name of the product and gives each drive its job.
func (p *planner) assign(faults *fault.List) {
	if !p.fields.again {
		p.checkMaterials(faults)
	}
	for i := range p.product.Demands {
		at := p.fields.demands.Index(i)
		p.assignDemand(i, &at, faults)
	}
	blends := newIndex(p.product.Blends, func(b *Blend) string { return b.ID })
	for i := range p.product.Blends {
		at := p.fields.blend(i)
		checkUnique(&blends, i, "blends", &at, faults)
		p.assignBlend(i, &at, faults)
	}
	p.checkDosed(faults)
	p.checkFollowing(faults)
	if !p.fields.alone {
		p.checkAllDemanded(faults)
	}
}

func (p *planner) checkMaterials(faults *fault.List) {
	for i := range p.product.Materials {
		at := p.fields.materials.Index(i)
		checkUnique(&p.materials, i, "materials", &at, faults)
		scaling.ValidateMaterial(&p.product.Materials[i], &at, faults)
	}
}

// checkUnique adds a fault if an earlier item has the id of item i.
func checkUnique[T any](x *index[T], i int, list string, at *fault.Path, faults *fault.List) {
	if !x.repeats {
		return
	}
	id := x.id(&x.items[i])
	if first := x.find(id); first != i && id != "" {
		field := at.Field("id")
		faults.Add(&field, fault.Duplicate, "%q is also the id of %s[%d]; give each its own", id, list, first)
	}
}

// checkAllDemanded names every drive that the product leaves out: silence is not zero.
func (p *planner) checkAllDemanded(faults *fault.List) {
	line := fault.Root("line")
	list := line.Field("drives")
	for i := range p.jobs {
		if p.jobs[i] == noJob && p.drives.find(p.line.Drives[i].ID) == i { // a second of one id has its own fault
			at := list.Index(i)
			id := at.Field("id")
			faults.Add(&id, fault.NotDemanded, "drive %q has no demand in %s; give it one, or stopped, or leaveAsIs", p.line.Drives[i].ID, p.fields.product)
		}
	}
}

// claim gives drive id its job, unless it is unknown or has one already.
func (p *planner) claim(id string, j job, at *fault.Path, faults *fault.List) (drive int, ok bool) {
	drive = p.drives.findNear(p.next, id)
	p.next = drive + 1
	field := at.Field("driveId")
	if drive < 0 {
		if id != "" { // an empty name is reported where it is required
			faults.Add(&field, fault.NotFound, "no drive of the %s has the id %q", p.fields.line(), id)
		}
		return drive, false
	}
	if p.jobs[drive] != noJob {
		faults.Add(&field, fault.Duplicate, "drive %q is already asked for by %s; ask once", id, p.describe(&p.jobs[drive]))
		return drive, false
	}
	p.jobs[drive] = j
	return drive, true
}

// describe names where the request asks for a job.
func (p *planner) describe(j *job) string {
	if j.demand >= 0 {
		at := p.fields.demands.Index(int(j.demand))
		return at.String()
	}
	blend := p.fields.blend(int(j.blend))
	components := blend.Field("components")
	at := components.Index(int(j.component))
	return at.String()
}

// field names the field that a job's checks speak of, such as
// product.demands[2].rate.
func (p *planner) field(j *job) string {
	if j.demand < 0 {
		return p.describe(j)
	}
	at := p.fields.demands.Index(int(j.demand))
	demand := &p.product.Demands[j.demand]
	field := at.Field(kindFields[demand.Kind])
	if demand.Dwell != nil {
		_, asked, _ := demand.Dwell.Asked()
		field = at.Field("dwell." + asked)
	}
	return field.String()
}

var kindFields = [...]string{
	Rate: "rate", Dwell: "dwell.time", Ratio: "ratio", LengthPerPiece: "lengthPerPiece", Stopped: "stopped", LeaveAsIs: "leaveAsIs", Dose: "dose",
}

// material resolves a material's name; an empty name is no material.
func (p *planner) material(id string, at *fault.Path, faults *fault.List) int32 {
	if id == "" {
		return -1
	}
	i := p.materials.find(id)
	if i < 0 {
		field := at.Field("materialId")
		faults.Add(&field, fault.NotFound, "no material of the %s has the id %q", p.fields.bringer(), id)
	}
	return int32(i)
}

func (p *planner) assignDemand(i int, at *fault.Path, faults *fault.List) {
	demand := &p.product.Demands[i]
	j := noJob
	j.demand = int32(i)
	j.material = p.material(demand.MaterialID, at, faults)
	if t := &demand.Tolerance; t.Set {
		tolerance := at.Field("tolerance")
		scaling.ValidateTolerance(&t.Value, &tolerance, faults)
	}
	drive, ok := p.claim(demand.DriveID, j, at, faults)
	if !ok {
		return
	}
	p.checkKind(drive, demand, at, faults)
}

func (p *planner) checkKind(drive int, demand *Demand, at *fault.Path, faults *fault.List) {
	switch demand.Kind {
	case Rate:
		if scaling.ValidateRate(&p.line.Drives[drive], demand.Rate, at, "rate", faults) {
			p.checkMaterialFor(drive, demand.MaterialID, demand.Rate.Unit.Dimension(), at, faults)
		}
	case Dwell:
		p.checkDwell(drive, demand, at, faults)
	case Ratio:
		p.checkRatio(drive, demand, at, faults)
	case LengthPerPiece:
		p.checkLengthPerPiece(drive, demand, at, faults)
	case Dose:
		p.checkDose(drive, demand, at, faults)
	case Stopped, LeaveAsIs:
		if demand.Tolerance.Set {
			field := at.Field("tolerance")
			faults.Add(&field, fault.Conflict, "has nothing to judge: the drive is stopped or left as it is")
		}
	default:
		faults.Add(at, fault.Required, "needs one of rate, dwell, ratio, lengthPerPiece, dose, stopped and leaveAsIs")
	}
}

// checkMaterialFor adds a fault where a rate of dim needs a density that drive's
// material does not give. named is the material that the request names.
func (p *planner) checkMaterialFor(drive int, named string, dim units.Dimension, at *fault.Path, faults *fault.List) {
	d := &p.line.Drives[drive]
	field := scaling.NeedsDensity(d, p.materialOf(drive), dim)
	if field == "" || p.jobs[drive].material < 0 && named != "" { // an unknown name has its own fault
		return
	}
	path := at.Field("materialId")
	if material := p.jobs[drive].material; material >= 0 {
		of := p.fields.materials.Index(int(material))
		path = of.Field(field)
		faults.Add(&path, fault.Required, "is needed: drive %q delivers a volume or a mass, and the rate is in the other", d.ID)
		return
	}
	faults.Add(&path, fault.Required, "is needed: drive %q delivers a volume or a mass, the rate is in the other, and the material's %s turns one into the other", d.ID, field)
}

func (p *planner) checkDwell(drive int, demand *Demand, at *fault.Path, faults *fault.List) {
	d := &p.line.Drives[drive]
	dwell := at.Field("dwell")
	if demand.Dwell != nil {
		demand.Dwell.Validate(&dwell, faults)
	} else {
		scaling.ValidatePositive(demand.Time, &dwell, faults, "time", units.TimeDim)
	}
	if dim, known := d.KnownRateDimension(); known && dim != units.SpeedDim {
		faults.Add(&dwell, fault.Conflict, "asks for a time, and drive %q does not deliver a length", d.ID)
		return
	}
	if demand.Dwell != nil {
		p.checkRoute(drive, demand, at, faults)
		return
	}
	list := dwell.Field("sectionIds")
	if n := len(demand.SectionIDs); n != 1 {
		faults.Add(&list, fault.OutOfRange, "names %d sections; it must name one", n)
		return
	}
	field := list.Index(0)
	section := p.sections.findNear(int(p.moves[drive]), demand.SectionIDs[0])
	if section < 0 {
		faults.Add(&field, fault.NotFound, "no section of the line has the id %q", demand.SectionIDs[0])
		return
	}
	if s := &p.line.Sections[section]; s.DriveID != d.ID {
		faults.Add(&field, fault.Conflict, "section %q is moved by drive %q, not by %q", s.ID, s.DriveID, d.ID)
		return
	}
	p.jobs[drive].section = int32(section)
}

// follow resolves the leader of a follower's demand at path at.
func (p *planner) follow(drive int, leaderID string, at *fault.Path, faults *fault.List) (leader *scaling.Drive, ok bool) {
	field := at.Field("leaderId")
	i := p.drives.findNear(drive-1, leaderID)
	switch {
	case i < 0 && leaderID == "":
		return nil, false
	case i < 0:
		faults.Add(&field, fault.NotFound, "no drive of the line has the id %q", leaderID)
		return nil, false
	case i == drive:
		faults.Add(&field, fault.Cycle, "is the drive itself; name the drive that it follows")
		return nil, false
	}
	p.jobs[drive].leader = int32(i)
	return &p.line.Drives[i], true
}

func (p *planner) checkRatio(drive int, demand *Demand, at *fault.Path, faults *fault.List) {
	ratio := at.Field("ratio")
	scaling.ValidateShare(demand.Percent, 1e6, &ratio, "percent", faults)
	d := &p.line.Drives[drive]
	leader, ok := p.follow(drive, demand.LeaderID, &ratio, faults)
	if !ok || demand.Basis != ProcessRate {
		return
	}
	mine, known := d.KnownRateDimension()
	theirs, alsoKnown := leader.KnownRateDimension()
	if known && alsoKnown && (mine != theirs || mine == units.Dimension{}) {
		field := ratio.Field("basis")
		faults.Add(&field, fault.Conflict, "is PROCESS_RATE, but drive %q gives %s and %q gives %s; use MOTOR_SPEED or a demand that joins the two kinds",
			d.ID, rateWords(mine), leader.ID, rateWords(theirs))
	}
}

func rateWords(dim units.Dimension) string {
	if dim == (units.Dimension{}) {
		return "no process rate"
	}
	return dim.String()
}

func (p *planner) checkLengthPerPiece(drive int, demand *Demand, at *fault.Path, faults *fault.List) {
	path := at.Field("lengthPerPiece")
	scaling.ValidatePositive(demand.Length, &path, faults, "length", units.LengthDim)
	d := &p.line.Drives[drive]
	leader, ok := p.follow(drive, demand.LeaderID, &path, faults)
	if !ok {
		return
	}
	mine, known := d.KnownRateDimension()
	theirs, alsoKnown := leader.KnownRateDimension()
	sound := mine == units.PieceRate && theirs == units.SpeedDim || mine == units.SpeedDim && theirs == units.PieceRate
	if known && alsoKnown && !sound {
		faults.Add(&path, fault.Conflict, "joins a length and pieces, but drive %q gives %s and %q gives %s",
			d.ID, rateWords(mine), leader.ID, rateWords(theirs))
	}
}
