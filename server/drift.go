package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math"
	"sync/atomic"
	"time"

	"google.golang.org/protobuf/proto"

	"linepace.example/core/drift"
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/statistics"
	"linepace.example/core/units"
	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// driftService judges what drives deliver.
type driftService struct {
	linepacev1.UnimplementedDriftServiceServer
	key  *StateKey     // nil: none
	held *atomic.Int64 // observations of streams that are not assessed yet
}

// Assess judges a drive by a series of observations.
func (driftService) Assess(ctx context.Context, in *linepacev1.AssessRequest) (*linepacev1.AssessResponse, error) {
	a, err := readAssess(ctx, in)
	if err != nil {
		return nil, err
	}
	return a.assess(ctx, in)
}

// settle completes the study with what was observed.
func (a *assessing) settle(ctx context.Context) {
	a.study.Hours, a.study.Observations, a.study.Rebased = a.obs.hours, a.obs.readings, a.obs.rebased
	a.study.Stop = func() bool { return ctx.Err() != nil }
}

// assess judges what was read.
func (a *assessing) assess(ctx context.Context, in *linepacev1.AssessRequest) (*linepacev1.AssessResponse, error) {
	found, err := drift.Assess(&a.study)
	switch {
	case errors.Is(err, drift.ErrStopped):
		return nil, ctx.Err()
	case err != nil:
		return nil, a.explain(err)
	}
	return a.response(in, found)
}

// assessing is a request to judge a drive, in core's terms.
type assessing struct {
	about
	obs      observing
	study    drift.Study
	fraction *fractionRequest
	rateUnit *units.Unit // of flows and, for a pump, of losses
	turnUnit *units.Unit // of what a turn delivers
	evidence string      // digest of what a stream gave; empty for a request
}

func readAssess(ctx context.Context, in *linepacev1.AssessRequest) (*assessing, error) {
	a := &assessing{}
	a.obs.decoder = &a.decoder
	a.readWatched(in)
	a.readStudy(in)
	if a.obs.kind != (units.Dimension{}) && len(a.faults) == 0 {
		a.readObservations(in)
	}
	if len(a.faults) > 0 {
		return nil, a.faults
	}
	a.settle(ctx)
	return a, ctx.Err()
}

// watched is a request that tells of a drive and of how its readings are charted.
type watched interface {
	GetCommissioned() *linepacev1.DeliveryModel
	GetDrive() *linepacev1.Drive
	GetMaterial() *linepacev1.Material
	GetMeter() *linepacev1.Meter
	GetSigma() *linepacev1.Sigma
	GetCusum() *linepacev1.Cusum
	GetEwma() *linepacev1.Ewma
}

func (a *assessing) readWatched(in watched) {
	a.readModel(in)
	if meter := in.GetMeter(); meter != nil {
		a.readMeter(meter)
	}
	a.readCharts(in)
}

// observationsOf is a request with observations.
type observationsOf interface {
	GetObservations() []*linepacev1.Observation
	GetColumns() *linepacev1.ObservationColumns
}

func (a *assessing) readObservations(in observationsOf) {
	a.readSome(in)
	if len(a.faults) == 0 && len(a.obs.readings) == 0 {
		at := fault.Root("observations")
		a.faults.Add(&at, fault.Required, "is needed: at least one observation that is no gap")
	}
}

func (a *assessing) readSome(in observationsOf) {
	switch both := len(in.GetObservations()) > 0; {
	case both && in.GetColumns() != nil:
		at := fault.Root("columns")
		a.faults.Add(&at, fault.Conflict, "is given, and observations too: give one of them")
	case in.GetColumns() != nil:
		a.obs.columns(in.GetColumns())
	default:
		a.obs.list(in.GetObservations())
	}
}

// readModel reads what the drive delivered when it was commissioned.
func (a *assessing) readModel(in watched) {
	if in.GetDrive() != nil {
		a.read(in.GetDrive(), in.GetMaterial(), nil)
		a.study.HighestRPM = a.drive.Motor.MaxRPM
		a.study.Teeth = teeth(&a.drive)
	} else {
		a.readMaterial(in.GetMaterial())
	}
	if a.material != nil {
		a.obs.density = densityOf(a.material)
	}
	switch {
	case in.GetCommissioned() != nil:
		at := fault.Root("commissioned")
		model := a.deliveryModel(in.GetCommissioned(), &at)
		a.useModel(model.PerTurn, model.SlipFlow)
	case in.GetDrive() == nil:
		at := fault.Root("commissioned")
		a.faults.Add(&at, fault.Required, "is needed, or a drive that tells what a turn delivers")
	case len(a.faults) > 0:
	case a.drive.Delivery.Kind == scaling.NoDelivery && len(a.drive.References) == 0:
		at := fault.Root("drive")
		delivery := at.Field("delivery")
		a.faults.Add(&delivery, fault.Required, "is needed, or commissioned: what a turn of the motor delivers")
	default:
		s := a.subject()
		var checks []scaling.Check
		scale := scaling.Certain(func(c *exact.Calc) scaling.Scale { return scaling.ScaleOf(c, &s, &checks) })
		a.useModel(scale.PerMotorTurn, scale.Leak)
		if a.drive.Delivery.Kind == scaling.Pump {
			a.study.Wear = drift.Leak
		}
	}
}

// deliveryModel reads a model that is told of the motor shaft.
func (d *decoder) deliveryModel(in *linepacev1.DeliveryModel, p *fault.Path) (out scaling.DeliveryModel) {
	switch model := in.GetModel().(type) {
	case *linepacev1.DeliveryModel_Pump_:
		at := p.Field("pump")
		out = scaling.DeliveryModel{PerTurn: d.quantity(model.Pump.GetDisplacement(), &at, "displacement"), SlipFlow: d.quantity(model.Pump.GetSlipFlow(), &at, "slipFlow"), Pump: true}
	case *linepacev1.DeliveryModel_PerTurn:
		out = scaling.DeliveryModel{PerTurn: d.quantity(model.PerTurn, p, "perTurn")}
	}
	scaling.ValidateDeliveryModel(&out, p, &d.faults)
	return out
}

func (a *assessing) useModel(perTurn, slip units.Quantity) {
	a.study.Wear = drift.Share
	if perTurn.Unit == nil || perTurn.Unit == scaling.Unreadable {
		return
	}
	c := new(exact.Calc)
	a.turnUnit, a.obs.kind = perTurn.Unit, perTurn.Unit.Dimension().Times(units.TurnDim)
	a.rateUnit = scaling.UsualRateUnit(a.obs.kind.Per(units.TimeDim))
	a.study.Model.PerTurn = perTurn.Base(c).Float()
	if slip.Unit != nil && slip.Unit != scaling.Unreadable {
		a.rateUnit, a.study.Model.SlipFlow = slip.Unit, slip.Base(c).Float()
	}
	if a.obs.kind == units.VolumeDim && (slip.Unit != nil || a.drive.Delivery.Kind == scaling.Pump) {
		a.study.Wear = drift.Leak
	}
	a.obs.model = a.study.Model
}

// densityOf is what turns a volume of m into a mass, kg per m3.
func densityOf(m *scaling.Material) float64 {
	for _, q := range []units.Quantity{m.Density, m.BulkDensity} {
		if q.Unit != nil && q.Unit != scaling.Unreadable && q.Value > 0 {
			return q.Base(new(exact.Calc)).Float()
		}
	}
	return 0
}

// teeth lists the wheels whose change of one tooth makes a step.
func teeth(d *scaling.Drive) (out []int32) {
	for i := range d.Transmission {
		for _, z := range []int32{d.Transmission[i].DriverTeeth, d.Transmission[i].DrivenTeeth} {
			if z >= 2 {
				out = append(out, z)
			}
		}
	}
	if d.Delivery.Kind == scaling.Sprocket && d.Delivery.Teeth >= 2 {
		out = append(out, d.Delivery.Teeth)
	}
	return out
}

func (a *assessing) readMeter(meter *linepacev1.Meter) {
	root := fault.Root("meter")
	a.obs.kFactor = a.quantity(meter.GetKFactor(), &root, "kFactor")
	if a.obs.kFactor.Unit != nil {
		scaling.ValidatePositive(a.obs.kFactor, &root, &a.faults, "kFactor", units.PulsesPerVolume, units.PulsesPerMass, units.PulsesPerLength)
	}
	if p := meter.AccuracyPercent; p != nil {
		a.within(&root, "accuracyPercent", *p, 0, 100, true)
		a.study.MeterPercent = *p
	}
}

// within adds a fault where x is not from low to high; low itself where withLow.
func (d *decoder) within(root *fault.Path, field string, x, low, high float64, withLow bool) {
	if x > low && x <= high || withLow && x == low {
		return
	}
	at := root.Field(field)
	from := "above"
	if withLow {
		from = "at least"
	}
	d.faults.Add(&at, fault.OutOfRange, "is %v; it must be %s %v and at most %v", x, from, low, high)
}

// readFraction reads in which bounds a correction is to give the device's scale.
func (a *assessing) readFraction(in *linepacev1.AssessRequest) {
	at := fault.Root("scaleFraction")
	switch asked := in.GetScaleFraction(); {
	case asked == nil:
	case in.GetDrive() == nil:
		drive := fault.Root("drive")
		a.faults.Add(&drive, fault.Required, "is needed for a scale fraction")
	case len(asked.GetCatalogue()) > 0:
		catalogue := at.Field("catalogue")
		a.faults.Add(&catalogue, fault.Conflict, "is for ScalingService.Scale: a correction is of the drive as it runs")
	default:
		a.fraction = a.fractionRequest(asked)
	}
}

// readStudy reads what the series is judged by.
func (a *assessing) readStudy(in *linepacev1.AssessRequest) {
	a.readFraction(in)
	a.atRoot("tolerancePercent", in.GetTolerancePercent(), 0, 100, false)
	a.study.TolerancePercent = in.GetTolerancePercent()
	duty := fault.Root("duty")
	a.study.RunningShare = 1
	if in.GetDuty() != nil {
		a.within(&duty, "hoursPerDay", in.GetDuty().GetHoursPerDay(), 0, 24, false)
		a.study.RunningShare = in.GetDuty().GetHoursPerDay() / 24
		if n := in.GetDuty().MotorRpm; n != nil {
			a.within(&duty, "motorRpm", *n, 0, 1e6, false)
			a.study.UsualRPM = *n
		}
	}
	a.seriesPoints(in.SeriesPoints)
}

func (d *decoder) seriesPoints(n *int32) int {
	if n == nil {
		return defaultSeriesPoints
	}
	d.atRoot("seriesPoints", float64(*n), 2, 10000, true)
	return int(*n)
}

// readCharts reads what the readings scatter and how they are charted.
func (a *assessing) readCharts(in watched) {
	sigma := fault.Root("sigma")
	if in.GetSigma() == nil {
		a.faults.Add(&sigma, fault.Required, "is needed: an object with given, baseline")
	}
	switch from := in.GetSigma().GetFrom().(type) {
	case *linepacev1.Sigma_Given:
		a.within(&sigma, "given", from.Given, 0, 100, false)
		a.study.Sigma = from.Given
	case *linepacev1.Sigma_Baseline:
		a.within(&sigma, "baseline", float64(from.Baseline), 10, 10000, true)
		a.study.Baseline = int(from.Baseline)
	}
	cusum, ewma := fault.Root("cusum"), fault.Root("ewma")
	charts := &a.study.Charts
	charts.CUSUM.K, charts.CUSUM.H = orDefault(in.GetCusum().GetK(), in.GetCusum() != nil && in.GetCusum().K != nil, 0.5), orDefault(in.GetCusum().GetH(), in.GetCusum() != nil && in.GetCusum().H != nil, 5)
	a.within(&cusum, "k", charts.CUSUM.K, 0, 10, true)
	a.within(&cusum, "h", charts.CUSUM.H, 0, 50, false)
	if in.GetCusum().GetFastInitialResponse() {
		charts.CUSUM.HeadStart = charts.CUSUM.H / 2
	}
	charts.EWMA.Lambda, charts.EWMA.Width = orDefault(in.GetEwma().GetLambda(), in.GetEwma() != nil && in.GetEwma().Lambda != nil, 0.2), orDefault(in.GetEwma().GetWidth(), in.GetEwma() != nil && in.GetEwma().Width != nil, 3)
	a.within(&ewma, "lambda", charts.EWMA.Lambda, 0.01, 1, true)
	a.within(&ewma, "width", charts.EWMA.Width, 0, 10, false)
}

// atRoot is within for a field of the request itself.
func (d *decoder) atRoot(field string, x, low, high float64, withLow bool) {
	found := len(d.faults)
	d.within(&fault.Path{}, field, x, low, high, withLow)
	if len(d.faults) > found {
		d.faults[found].Path = field
	}
}

func orDefault(x float64, given bool, otherwise float64) float64 {
	if given {
		return x
	}
	return otherwise
}

// explain says what core could not do in terms of the request.
func (a *assessing) explain(err error) error {
	var few *statistics.TooFewError
	var flat *statistics.NoSpreadError
	at := fault.Root("observations")
	switch {
	case errors.As(err, &few):
		a.faults.Add(&at, fault.OutOfRange, "are too few: %s needs at least %d %s, and there are %d", few.Method, few.Need, few.Of, few.Have)
	case errors.As(err, &flat):
		sigma := fault.Root("sigma")
		a.faults.Add(&sigma, fault.OutOfRange, "cannot be learned: the readings of the baseline do not scatter; give it")
	default:
		a.faults.Add(&at, fault.OutOfRange, "cannot be assessed: %s", err)
	}
	return a.faults
}

// at writes a time that many hours after the first reading; "" where no calendar has it.
func (a *assessing) at(hours float64) string {
	if !(math.Abs(hours) < 5e7) { // 5700 years
		return ""
	}
	t := a.obs.start.Add(time.Duration(math.Round(hours*3600)) * time.Second)
	if t.Year() < 1 || t.Year() > 9999 {
		return ""
	}
	return t.UTC().Format(time.RFC3339)
}

// evidence is the digest of what a correction rests on.
func evidence(in *linepacev1.AssessRequest) (string, error) {
	bare := proto.CloneOf(in)
	bare.IncludeWorking, bare.SeriesPoints = false, nil
	text, err := codec.AppendCanonical(nil, bare)
	if err != nil {
		return "", err
	}
	digest := sha256.Sum256(text)
	return hex.EncodeToString(digest[:]), nil
}
