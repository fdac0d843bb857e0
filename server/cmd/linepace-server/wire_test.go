package main

import "encoding/json"

// The JSON of the contract as the differential test writes and reads it: types of
// its own, in which a number is its text.

type jsonQuantity struct {
	Value json.Number `json:"value"`
	Unit  string      `json:"unit"`
}

type jsonPlan struct {
	Line           jsonLine     `json:"line"`
	Product        jsonProduct  `json:"product"`
	Running        *jsonProduct `json:"running,omitempty"`
	IncludeWorking bool         `json:"includeWorking,omitempty"`
}

type jsonLine struct {
	ID       string         `json:"id"`
	Drives   []*jsonDrive   `json:"drives"`
	Sections []*jsonSection `json:"sections,omitempty"`
}

type jsonDrive struct {
	ID           string          `json:"id"`
	Motor        jsonMotor       `json:"motor"`
	Transmission []jsonStage     `json:"transmission,omitempty"`
	Delivery     *jsonDelivery   `json:"delivery,omitempty"`
	References   []jsonReference `json:"references,omitempty"`
	Sensors      []jsonSensor    `json:"sensors,omitempty"`
	Readout      *jsonReadout    `json:"readout,omitempty"`
	Register     *jsonRegister   `json:"register,omitempty"`
}

type jsonMotor struct {
	MinRpm     json.Number     `json:"minRpm,omitempty"`
	MaxRpm     json.Number     `json:"maxRpm"`
	BaseRpm    json.Number     `json:"baseRpm,omitempty"`
	Regulation *jsonRegulation `json:"regulation,omitempty"`
}

type jsonRegulation struct {
	Percent      json.Number `json:"percent,omitempty"`
	Of           string      `json:"of,omitempty"`
	DroopPercent json.Number `json:"droopPercent,omitempty"`
}

type jsonStage struct {
	GearPair *jsonTeeth   `json:"gearPair,omitempty"`
	Chain    *jsonTeeth   `json:"chain,omitempty"`
	Gearbox  *jsonGearbox `json:"gearbox,omitempty"`
	Belt     *jsonBelt    `json:"belt,omitempty"`
}

type jsonTeeth struct {
	DriverTeeth int64 `json:"driverTeeth"`
	DrivenTeeth int64 `json:"drivenTeeth"`
}

type jsonGearbox struct {
	Ratio json.Number `json:"ratio"`
	Exact bool        `json:"exact,omitempty"`
}

type jsonBelt struct {
	DriverDiameter jsonQuantity `json:"driverDiameter"`
	DrivenDiameter jsonQuantity `json:"drivenDiameter"`
	SlipPercent    json.Number  `json:"slipPercent,omitempty"`
}

type jsonDelivery struct {
	Roll     *jsonRoll     `json:"roll,omitempty"`
	Sprocket *jsonSprocket `json:"sprocket,omitempty"`
	Pump     *jsonPump     `json:"pump,omitempty"`
	Screw    *jsonScrew    `json:"screw,omitempty"`
	Feeder   *jsonFeeder   `json:"feeder,omitempty"`
	Indexer  *jsonIndexer  `json:"indexer,omitempty"`
}

type jsonRoll struct {
	Diameter      *jsonQuantity `json:"diameter,omitempty"`
	BeltThickness *jsonQuantity `json:"beltThickness,omitempty"`
	PitchDiameter *jsonQuantity `json:"pitchDiameter,omitempty"`
	SlipPercent   json.Number   `json:"slipPercent,omitempty"`
}

type jsonSprocket struct {
	Teeth int64        `json:"teeth"`
	Pitch jsonQuantity `json:"pitch"`
}

type jsonPump struct {
	Displacement                jsonQuantity  `json:"displacement"`
	SlipFlow                    *jsonQuantity `json:"slipFlow,omitempty"`
	VolumetricEfficiencyPercent json.Number   `json:"volumetricEfficiencyPercent,omitempty"`
	AtRpm                       json.Number   `json:"atRpm,omitempty"`
}

type jsonScrew struct {
	VolumePerTurn jsonQuantity `json:"volumePerTurn"`
}

type jsonFeeder struct {
	MassPerTurn   *jsonQuantity `json:"massPerTurn,omitempty"`
	VolumePerTurn *jsonQuantity `json:"volumePerTurn,omitempty"`
}

type jsonIndexer struct {
	PiecesPerTurn json.Number `json:"piecesPerTurn"`
}

type jsonReference struct {
	Value              jsonQuantity `json:"value"`
	MotorRpm           json.Number  `json:"motorRpm"`
	UncertaintyPercent json.Number  `json:"uncertaintyPercent,omitempty"`
}

type jsonSensor struct {
	ID         string     `json:"id"`
	Shaft      *jsonShaft `json:"shaft,omitempty"`
	Flow       *jsonFlow  `json:"flow,omitempty"`
	ClosesLoop bool       `json:"closesLoop,omitempty"`
}

type jsonShaft struct {
	PulsesPerTurn   json.Number `json:"pulsesPerTurn"`
	EdgesCounted    int64       `json:"edgesCounted,omitempty"`
	StagesFromMotor int         `json:"stagesFromMotor,omitempty"`
	MinHz           json.Number `json:"minHz,omitempty"`
	MaxHz           json.Number `json:"maxHz,omitempty"`
}

type jsonFlow struct {
	KFactor jsonQuantity `json:"kFactor"`
}

type jsonReadout struct {
	Unit      string `json:"unit"`
	Digits    int    `json:"digits"`
	Decimals  int    `json:"decimals,omitempty"`
	SectionID string `json:"sectionId,omitempty"`
	Rounding  string `json:"rounding,omitempty"`
}

type jsonRegister struct {
	Integer *jsonInteger `json:"integer,omitempty"`
	Current *struct{}    `json:"current,omitempty"`
	Voltage *struct{}    `json:"voltage,omitempty"`
	Span    []jsonPoint  `json:"span"`
	Shaft   string       `json:"shaft,omitempty"`
	Tag     string       `json:"tag,omitempty"`
}

type jsonInteger struct {
	Type string `json:"type"`
}

type jsonPoint struct {
	Count     json.Number  `json:"count,omitempty"`
	Milliamps json.Number  `json:"milliamps,omitempty"`
	Volts     json.Number  `json:"volts,omitempty"`
	Value     jsonQuantity `json:"value"`
}

type jsonSection struct {
	ID      string       `json:"id"`
	DriveID string       `json:"driveId"`
	Length  jsonQuantity `json:"length"`
}

type jsonProduct struct {
	ID        string          `json:"id"`
	Materials []*jsonMaterial `json:"materials,omitempty"`
	Demands   []*jsonDemand   `json:"demands,omitempty"`
	Blends    []*jsonBlend    `json:"blends,omitempty"`
}

type jsonMaterial struct {
	ID          string        `json:"id"`
	Density     *jsonQuantity `json:"density,omitempty"`
	BulkDensity *jsonQuantity `json:"bulkDensity,omitempty"`
	FillPercent json.Number   `json:"fillPercent,omitempty"`
	Moisture    *jsonMoisture `json:"moisture,omitempty"`
}

type jsonMoisture struct {
	Percent json.Number `json:"percent"`
	Basis   string      `json:"basis"`
}

type jsonDemand struct {
	DriveID        string              `json:"driveId"`
	Rate           *jsonQuantity       `json:"rate,omitempty"`
	Dwell          *jsonDwell          `json:"dwell,omitempty"`
	Ratio          *jsonRatio          `json:"ratio,omitempty"`
	LengthPerPiece *jsonLengthPerPiece `json:"lengthPerPiece,omitempty"`
	Stopped        *struct{}           `json:"stopped,omitempty"`
	LeaveAsIs      *struct{}           `json:"leaveAsIs,omitempty"`
	Tolerance      *jsonTolerance      `json:"tolerance,omitempty"`
	MaterialID     string              `json:"materialId,omitempty"`
}

type jsonDwell struct {
	SectionIDs []string     `json:"sectionIds"`
	Time       jsonQuantity `json:"time"`
	Point      *struct{}    `json:"point"`
}

type jsonRatio struct {
	LeaderID string      `json:"leaderId"`
	Percent  json.Number `json:"percent"`
	Basis    string      `json:"basis"`
}

type jsonLengthPerPiece struct {
	LeaderID string       `json:"leaderId"`
	Length   jsonQuantity `json:"length"`
}

type jsonTolerance struct {
	MinusPercent json.Number `json:"minusPercent,omitempty"`
	PlusPercent  json.Number `json:"plusPercent,omitempty"`
}

type jsonBlend struct {
	ID         string           `json:"id"`
	Basis      string           `json:"basis"`
	Total      jsonQuantity     `json:"total"`
	TotalBasis string           `json:"totalBasis,omitempty"`
	Components []*jsonComponent `json:"components"`
}

type jsonComponent struct {
	DriveID      string         `json:"driveId"`
	MaterialID   string         `json:"materialId,omitempty"`
	SharePercent json.Number    `json:"sharePercent,omitempty"`
	Balance      bool           `json:"balance,omitempty"`
	Tolerance    *jsonTolerance `json:"tolerance,omitempty"`
}

// jsonSetpointRequest asks for the setpoint of one drive.
type jsonSetpointRequest struct {
	Drive     *jsonDrive     `json:"drive"`
	Material  *jsonMaterial  `json:"material,omitempty"`
	Section   *jsonSection   `json:"section,omitempty"`
	Target    *jsonQuantity  `json:"target,omitempty"`
	Count     json.Number    `json:"count,omitempty"`
	Tolerance *jsonTolerance `json:"tolerance,omitempty"`
}

// The answers.

type jsonPlanAnswer struct {
	Setpoints []jsonSetpoint `json:"setpoints"`
	Checks    []jsonCheck    `json:"checks"`
	Verdict   string         `json:"verdict"`
}

type jsonSetpointAnswer struct {
	Setpoint jsonSetpoint `json:"setpoint"`
	Checks   []jsonCheck  `json:"checks"`
	Verdict  string       `json:"verdict"`
}

type jsonSetpoint struct {
	DriveID      string        `json:"driveId"`
	Action       string        `json:"action"`
	Tag          string        `json:"tag"`
	Demanded     *jsonQuantity `json:"demanded"`
	DemandedRpm  json.Number   `json:"demandedRpm"`
	Count        json.Number   `json:"count"`
	Milliamps    json.Number   `json:"milliamps"`
	Volts        json.Number   `json:"volts"`
	AchievedRpm  json.Number   `json:"achievedRpm"`
	LastShaftRpm json.Number   `json:"lastShaftRpm"`
	Achieved     *jsonQuantity `json:"achieved"`
	ErrorPercent json.Number   `json:"errorPercent"`
	ReadoutText  *string       `json:"readoutText"`
	ReadoutUnit  *string       `json:"readoutUnit"`
	PulseHz      json.Number   `json:"pulseHz"`
	Within       *bool         `json:"withinTolerance"`
	Band         *struct {
		Low, High *jsonQuantity
	} `json:"band"`
	BandWithin  *bool         `json:"bandWithinTolerance"`
	ProcessRate *jsonQuantity `json:"processRate"`
	Change      *jsonChange   `json:"change"`
}

type jsonChange struct {
	FromCount          json.Number `json:"fromCount"`
	FromRpm            json.Number `json:"fromRpm"`
	SpeedChangePercent json.Number `json:"speedChangePercent"`
	FromMilliamps      json.Number `json:"fromMilliamps"`
	FromVolts          json.Number `json:"fromVolts"`
}

type jsonCheck struct {
	Code          string        `json:"code"`
	Severity      string        `json:"severity"`
	DriveID       string        `json:"driveId"`
	Field         string        `json:"field"`
	Message       string        `json:"message"`
	Binds         string        `json:"binds"`
	Limit         *jsonQuantity `json:"limit"`
	ExcessPercent json.Number   `json:"excessPercent"`
	Fit           *jsonQuantity `json:"fit"`
	FitField      string        `json:"fitField"`
}
