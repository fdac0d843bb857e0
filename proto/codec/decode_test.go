package codec_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/dynamicpb"

	linepacev1 "linepace.example/proto/linepace/v1"

	"linepace.example/proto/codec"
)

// refused holds documents of a SetpointRequest or, with the prefix "kitchen ", of
// a Kitchen, each with its violations as path, reason and a part of the text.
var refused = []struct {
	body string
	want string // lines of "path|REASON|part of the text"
}{
	// Not one JSON object.
	{``, `|MALFORMED|the body is empty; send a JSON object`},
	{" \r\n\t", `|MALFORMED|the body is empty; send a JSON object`},
	{`[]`, `|MALFORMED|a list as the whole body; send a JSON object`},
	{`[1,`, `|MALFORMED|the body ends where a value belongs`},
	{`"x"`, `|MALFORMED|the string "x" as the whole body; send a JSON object`},
	{`12`, `|MALFORMED|the number 12 as the whole body`},
	{`null`, `|MALFORMED|null as the whole body`},
	{`{} {}`, `|MALFORMED|something follows the object; send one JSON object alone (line 1, column 4, byte offset 3)`},
	{`{}]`, `|MALFORMED|something follows the object`},
	{"{}\x00", `|MALFORMED|something follows the object`},
	{"\xef\xbb\xbf{}", `|MALFORMED|byte order mark`},
	{"\xff\xfe{\x00}\x00", `|MALFORMED|a byte that is not UTF-8`},
	{`{`, `|MALFORMED|the body ends where a field name in double quotes belongs`},
	{`{"count"`, `|MALFORMED|the body ends where a colon belongs`},
	{`{"count":`, `count|MALFORMED|the body ends where`},
	{`{"count":1`, `|MALFORMED|the body ends where a comma or '}' belongs`},
	{`{"count":1]`, `|MALFORMED|']' where a comma or '}' belongs`},
	{`{"drive":{"sensors":[{"id":"a"}`, `drive.sensors[0]|MALFORMED|the body ends where a comma or ']' belongs`},
	{"{\n \"drive\": {\n  \"id\": \"é\", }}", `drive|MALFORMED|a comma before the closing bracket; leave it out (line 3, column 14, byte offset 28)`},
	{`{"drive":{"sensors":[{},]}}`, `drive.sensors[0]|MALFORMED|a comma before the closing bracket`},
	{`{,}`, `|MALFORMED|',' where a field name in double quotes belongs`},
	{`{"count":,}`, `count|MALFORMED|',' where a value belongs`},
	{`{"count":1,,"drive":{}}`, `|MALFORMED|',' where a field name in double quotes belongs`},
	{`{"count":1 "drive":{}}`, `|MALFORMED|'"' where a comma or '}' belongs`},
	{`{"count" 1}`, `|MALFORMED|'1' where a colon belongs`},
	{`{count:1}`, `|MALFORMED|'c' where a field name in double quotes belongs`},
	{`{'count':1}`, `|MALFORMED|strings stand in double quotes`},
	{`{"drive":{"id":'x'}}`, `drive.id|MALFORMED|strings stand in double quotes`},
	{`{/* all */}`, `|MALFORMED|JSON has no comments`},
	{"{\"count\":1 // one\n}", `|MALFORMED|JSON has no comments`},
	{"# a line\n{}", `|MALFORMED|JSON has no comments`},
	{`{"includeWorking":True}`, `includeWorking|MALFORMED|true, false and null`},
	{`{"includeWorking":tru}`, `includeWorking|MALFORMED|'t' where a value belongs`},
	{`{"includeWorking":truely}`, `|MALFORMED|'l' where a comma or '}' belongs`},
	// Numbers that JSON does not have.
	{`{"target":{"value":NaN}}`, `target.value|MALFORMED|NaN and Infinity are not JSON`},
	{`{"target":{"value":Infinity}}`, `target.value|MALFORMED|NaN and Infinity are not JSON`},
	{`{"target":{"value":-Infinity}}`, `target.value|MALFORMED|-Infinity is not JSON`},
	{`{"target":{"value":007}}`, `target.value|MALFORMED|a leading zero`},
	{`{"target":{"value":-01}}`, `target.value|MALFORMED|a leading zero`},
	{`{"target":{"value":+1}}`, `target.value|MALFORMED|a plus sign; leave it out`},
	{`{"target":{"value":.5}}`, `target.value|MALFORMED|a number begins with a digit`},
	{`{"target":{"value":5.}}`, `target.value|MALFORMED|'}' where a digit after the point belongs`},
	{`{"target":{"value":1e}}`, `target.value|MALFORMED|'}' where a digit of the exponent belongs`},
	{`{"target":{"value":1e+}}`, `target.value|MALFORMED|a digit of the exponent`},
	{`{"target":{"value":-}}`, `target.value|MALFORMED|'}' where a digit belongs`},
	{`{"target":{"value":--1}}`, `target.value|MALFORMED|'-' where a digit belongs`},
	{`{"target":{"value":0x10}}`, `target|MALFORMED|'x' where a comma or '}' belongs`},
	{`{"target":{"value":1_000}}`, `target|MALFORMED|'_' where a comma`},
	{`{"target":{"value":1,5}}`, `target|MALFORMED|'5' where a field name in double quotes belongs`},
	{`{"target":{"value":12`, `target|MALFORMED|the body ends`},
	// Strings that JSON does not have.
	{`{"drive":{"id":"x`, `drive.id|MALFORMED|the body ends inside a string`},
	{`{"drive":{"id":"x\`, `drive.id|MALFORMED|the body ends inside a string`},
	{"{\"drive\":{\"id\":\"a\tb\"}}", `drive.id|MALFORMED|a control character in a string; write it as "\\t" (line 1, column 18, byte offset 17)`},
	{"{\"drive\":{\"id\":\"a\x00b\"}}", `drive.id|MALFORMED|"\\u0000"`},
	{"{\"drive\":{\"id\":\"a\xffb\"}}", `drive.id|MALFORMED|a byte that is not UTF-8`},
	{"{\"drive\":{\"id\":\"a\xed\xa0\x80b\"}}", `drive.id|MALFORMED|a byte that is not UTF-8`},
	{"{\"dr\xffive\":{}}", `|MALFORMED|a byte that is not UTF-8`},
	{`{"drive":{"id":"\ud800"}}`, `drive.id|MALFORMED|a lone surrogate`},
	{`{"drive":{"id":"\ud800x"}}`, `drive.id|MALFORMED|a lone surrogate`},
	{`{"drive":{"id":"\ud800\ud800"}}`, `drive.id|MALFORMED|a lone surrogate`},
	{`{"drive":{"id":"\udc00\ud800"}}`, `drive.id|MALFORMED|a lone surrogate`},
	{`{"drive":{"id":"\ud800\u00`, `drive.id|MALFORMED|a lone surrogate`},
	{`{"drive":{"id":"\u12g4"}}`, `drive.id|MALFORMED|\u without four hexadecimal digits`},
	{`{"drive":{"id":"\u12"}}`, `drive.id|MALFORMED|\u without four hexadecimal digits`},
	{`{"drive":{"id":"\x41"}}`, `drive.id|MALFORMED|an escape that JSON does not have`},
	{`{"drive":{"id":"\'"}}`, `drive.id|MALFORMED|an escape that JSON does not have`},
	// Keys.
	{`{"drive":{"motor":{"maxrpm":1750}}}`, `drive.motor.maxrpm|UNKNOWN_FIELD|there is no such field; is maxRpm meant?`},
	{`{"drive":{"motor":{"max_rpm":1750}}}`, `drive.motor.max_rpm|UNKNOWN_FIELD|is maxRpm meant?`},
	{`{"include_working":true}`, `include_working|UNKNOWN_FIELD|is includeWorking meant?`},
	{`{"Count":1}`, `Count|UNKNOWN_FIELD|is count meant?`},
	{`{"tolerence":{}}`, `tolerence|UNKNOWN_FIELD|is tolerance meant?`},
	{`{"tolarence":{}}`, `tolarence|UNKNOWN_FIELD|is tolerance meant?`},
	{`{"tolarenze":{}}`, `tolarenze|UNKNOWN_FIELD|SetpointRequest has `},
	{`{"drive":{"xy":1}}`, `drive.xy|UNKNOWN_FIELD|Drive has id, `},
	{`{"speed":{"a":[1,{"b":null}],"a":true},"count":1}`, `speed|UNKNOWN_FIELD|SetpointRequest has drive, material, section, target, count, milliamps, volts, tolerance, includeWorking`},
	{`{"drive":{"register":{"current":{"x":1}}}}`, `drive.register.current.x|UNKNOWN_FIELD|Current has none`},
	{`{"":1}`, `[""]|UNKNOWN_FIELD|there is no such field`},
	{`{"drive":{"a b.c\n":1}}`, `drive["a b.c\n"]|UNKNOWN_FIELD|there is no such field`},
	{`{"@type":"x"}`, `["@type"]|UNKNOWN_FIELD|`},
	{`{"` + strings.Repeat("é", 100) + `":1}`, `["` + strings.Repeat("é", 32) + `…"]|UNKNOWN_FIELD|`},
	{`{"` + "x" + strings.Repeat("é", 100) + `":1}`, `["x` + strings.Repeat("é", 31) + `…"]|UNKNOWN_FIELD|`},
	{`{"` + strings.Repeat("x", 100) + `":1}`, strings.Repeat("x", 64) + `…|UNKNOWN_FIELD|`},
	{`{"[linepace.v1.x]":1}`, `["[linepace.v1.x]"]|UNKNOWN_FIELD|`},
	{`{"count":1,"count":1}`, `count|DUPLICATE_FIELD|given twice; give it once`},
	{`{"count":1,"\u0063ount":2}`, `count|DUPLICATE_FIELD|given twice`},
	{`{"count":1,"count":null}`, `count|DUPLICATE_FIELD|given twice`},
	{`{"drive":{"sensors":[],"sensors":[{}]}}`, `drive.sensors|DUPLICATE_FIELD|given twice`},
	{`{"count":1,"target":{}}`, `target|DUPLICATE_FIELD|target beside count; give only one of target, count`},
	{`{"drive":{"transmission":[{"belt":{},"chain":{}}]}}`, `drive.transmission[0].chain|DUPLICATE_FIELD|chain beside belt; give only one of gearPair, gearbox, belt, chain`},
	{`{"count":null,"target":{}}`, `count|WRONG_TYPE|null where`},
	// Types.
	{`{"drive":null}`, `drive|WRONG_TYPE|null where an object belongs; leave the field out`},
	{`{"drive":{"id":null}}`, `drive.id|WRONG_TYPE|null where a string belongs; leave the field out`},
	{`{"drive":{"motor":{"baseRpm":null}}}`, `drive.motor.baseRpm|WRONG_TYPE|null where a number belongs; leave the field out`},
	{`{"drive":{"sensors":null}}`, `drive.sensors|WRONG_TYPE|null where a list belongs; leave the field out`},
	{`{"drive":{"sensors":[null]}}`, `drive.sensors[0]|WRONG_TYPE|null where an object belongs; leave the element out`},
	{`{"drive":[]}`, `drive|WRONG_TYPE|a list where an object belongs`},
	{`{"drive":"{}"}`, `drive|WRONG_TYPE|the string "{}" where an object belongs`},
	{`{"drive":{"sensors":{}}}`, `drive.sensors|WRONG_TYPE|an object where a list belongs; write it in [ ]`},
	{`{"drive":{"sensors":[[]]}}`, `drive.sensors[0]|WRONG_TYPE|a list where an object belongs`},
	{`{"drive":{"motor":{"maxRpm":"1750"}}}`, `drive.motor.maxRpm|WRONG_TYPE|the string "1750" where a number belongs; write it without quotes`},
	{`{"drive":{"motor":{"maxRpm":"fast"}}}`, `drive.motor.maxRpm|WRONG_TYPE|the string "fast" where a number belongs`},
	{`{"drive":{"motor":{"maxRpm":true}}}`, `drive.motor.maxRpm|WRONG_TYPE|true where a number belongs`},
	{`{"count":"5"}`, `count|WRONG_TYPE|the string "5" where an integer from -2147483648 to 2147483647 belongs; write it without quotes`},
	{`{"count":1.5}`, `count|WRONG_TYPE|the number 1.5 where an integer from -2147483648 to 2147483647, without point and exponent, belongs`},
	{`{"count":3.0}`, `count|WRONG_TYPE|the number 3.0 where`},
	{`{"count":-0.0}`, `count|WRONG_TYPE|the number -0.0 where`},
	{`{"count":1e2}`, `count|WRONG_TYPE|the number 1e2 where`},
	{`{"count":[1]}`, `count|WRONG_TYPE|a list where`},
	{`{"includeWorking":"true"}`, `includeWorking|WRONG_TYPE|the string "true" where true or false belongs; write it without quotes`},
	{`{"includeWorking":1}`, `includeWorking|WRONG_TYPE|the number 1 where true or false belongs`},
	{`{"drive":{"id":12.50}}`, `drive.id|WRONG_TYPE|the number 12.50 where a string belongs; write it in quotes`},
	{`{"drive":{"id":{"a":1}}}`, `drive.id|WRONG_TYPE|an object where a string belongs`},
	{`{"drive":{"register":{"integer":{"type":2}}}}`, `drive.register.integer.type|WRONG_TYPE|the number 2 where a string out of INT16, UINT16, INT32 belongs`},
	{`{"drive":{"register":{"integer":{"type":false}}}}`, `drive.register.integer.type|WRONG_TYPE|false where a string out of`},
	{`{"drive":{"register":{"integer":{"type":"INT64"}}}}`, `drive.register.integer.type|UNKNOWN_CHOICE|"INT64" is none of INT16, UINT16, INT32`},
	{`{"drive":{"register":{"integer":{"type":"int16"}}}}`, `drive.register.integer.type|UNKNOWN_CHOICE|"int16" is none of`},
	{`{"drive":{"register":{"integer":{"type":"2"}}}}`, `drive.register.integer.type|UNKNOWN_CHOICE|"2" is none of`},
	{`{"drive":{"register":{"integer":{"type":""}}}}`, `drive.register.integer.type|UNKNOWN_CHOICE|"" is none of`},
	// Ranges.
	{`{"target":{"value":"NaN"}}`, `target.value|NOT_FINITE|"NaN" where a finite number belongs`},
	{`{"target":{"value":"Infinity"}}`, `target.value|NOT_FINITE|"Infinity" where`},
	{`{"target":{"value":"-Infinity"}}`, `target.value|NOT_FINITE|"-Infinity" where`},
	{`{"target":{"value":1e400}}`, `target.value|NOT_FINITE|1e400 is beyond the largest number`},
	{`{"target":{"value":-1.7976931348623159e308}}`, `target.value|NOT_FINITE|-1.7976931348623159e308 is beyond`},
	{`{"target":{"value":` + strings.Repeat("9", 400) + `}}`, `target.value|NOT_FINITE|` + strings.Repeat("9", 64) + `… is beyond`},
	{`{"count":2147483648}`, `count|OUT_OF_RANGE|2147483648 where an integer from -2147483648 to 2147483647 belongs`},
	{`{"count":-2147483649}`, `count|OUT_OF_RANGE|-2147483649 where`},
	{`{"count":99999999999999999999999}`, `count|OUT_OF_RANGE|99999999999999999999999 where`},
	// Every type in every position.
	{`kitchen {"aUint32":-1}`, `aUint32|OUT_OF_RANGE|-1 where an integer from 0 to 4294967295 belongs`},
	{`kitchen {"aUint32":4294967296}`, `aUint32|OUT_OF_RANGE|`},
	{`kitchen {"maybeUint32":"7"}`, `maybeUint32|WRONG_TYPE|write it without quotes`},
	{`kitchen {"oneEnum":-3}`, `oneEnum|WRONG_TYPE|the number -3 where a string out of SLOW, FAST, BACK belongs`},
	{`kitchen {"manyDouble":[1,"2",null,"NaN",3]}`, "manyDouble[1]|WRONG_TYPE|write it without quotes\nmanyDouble[2]|WRONG_TYPE|leave the element out\nmanyDouble[3]|NOT_FINITE|"},
	{`kitchen {"manyEnum":["SLOW","slow"]}`, `manyEnum[1]|UNKNOWN_CHOICE|"slow" is none of SLOW, FAST, BACK`},
	{`kitchen {"manyDouble":5}`, `manyDouble|WRONG_TYPE|the number 5 where a list belongs; write it in [ ]`},
	{`kitchen {"manyMessage":[{"id":"a"},{"ID":"b"}]}`, `manyMessage[1].ID|UNKNOWN_FIELD|is id meant?`},
	{`kitchen {"aBytes":"YQ"}`, `aBytes|MALFORMED|not base64`},
	{`kitchen {"aBytes":"YQ="}`, `aBytes|MALFORMED|not base64`},
	{`kitchen {"aBytes":"YR=="}`, `aBytes|MALFORMED|not base64`},
	{`kitchen {"aBytes":"YQ==\n"}`, `aBytes|MALFORMED|not base64`},
	{`kitchen {"aBytes":" YQ=="}`, `aBytes|MALFORMED|not base64`},
	{`kitchen {"aBytes":"-_-_"}`, `aBytes|MALFORMED|not base64`},
	{`kitchen {"manyBytes":["","a"],"aBool":0}`, "manyBytes[1]|MALFORMED|not base64\naBool|WRONG_TYPE|"},
	{`kitchen {"aBytes":[1]}`, `aBytes|WRONG_TYPE|a list where a string in base64 belongs`},
	{`kitchen {"oneDouble":1,"oneEnum":"FAST"}`, `oneEnum|DUPLICATE_FIELD|oneEnum beside oneDouble; give only one of oneDouble, oneInt32, `},
	// All at once, in order; an error of syntax ends the reading.
	{
		`{"drive":{"motor":{"minRpm":"90","maxRpm":1e999,"top":1},"transmission":[{"belt":{}},{"gearbox":{"ratio":null}}]},"count":1.0,"count":2}`,
		`drive.motor.minRpm|WRONG_TYPE|
drive.motor.maxRpm|NOT_FINITE|
drive.motor.top|UNKNOWN_FIELD|Motor has minRpm, maxRpm, baseRpm, regulation
drive.transmission[1].gearbox.ratio|WRONG_TYPE|
count|WRONG_TYPE|
count|DUPLICATE_FIELD|`,
	},
	{`{"count":"1","a":[{"b":tru}],"count":2}`, "count|WRONG_TYPE|\na|UNKNOWN_FIELD|\na|MALFORMED|'t' where a value belongs"},
	{`{"count":"1","drive":{"motor":[1,2}}`, "count|WRONG_TYPE|\ndrive.motor|MALFORMED|'}' where a comma or ']' belongs"},
	// Depth of what is passed over.
	{`{"a":` + strings.Repeat("[", 101) + strings.Repeat("]", 101) + `}`, `a|UNKNOWN_FIELD|`},
	{`{"a":` + strings.Repeat("[", 102) + strings.Repeat("]", 102) + `}`, "a|UNKNOWN_FIELD|\na|MALFORMED|a value nested more than 100 deep"},
	{`{"a":` + strings.Repeat(`{"":`, 500), "a|UNKNOWN_FIELD|\na|MALFORMED|a value nested more than 100 deep"},
	{strings.Repeat("[", 500), `|MALFORMED|a value nested more than 100 deep`},
}

// messageFor returns an empty message of the type that a test document names.
func messageFor(body string) (proto.Message, []byte) {
	if rest, ok := strings.CutPrefix(body, "kitchen "); ok {
		return dynamicpb.NewMessage(kitchen), []byte(rest)
	}
	return new(linepacev1.SetpointRequest), []byte(body)
}

func TestUnmarshalRefuses(t *testing.T) {
	for _, c := range refused {
		t.Run(c.body, func(t *testing.T) {
			m, body := messageFor(c.body)
			err := codec.Unmarshal(body, m)
			var violations codec.Errors
			require.ErrorAs(t, err, &violations)
			want := strings.Split(c.want, "\n")
			require.Len(t, violations, len(want), "%v", violations)
			for i, line := range want {
				part := strings.SplitN(line, "|", 3)
				require.Equal(t, part[0], violations[i].Path, "path of %v", violations[i])
				require.Equal(t, part[1], violations[i].Reason, "reason of %v", violations[i])
				require.Contains(t, violations[i].Text, part[2])
			}
			require.Contains(t, err.Error(), violations[0].Text)
			require.True(t, proto.Equal(m, m.ProtoReflect().New().Interface()), "a refused document must leave the message as it was")
		})
	}
}

// Documents that are taken, with protojson as the judge of what they mean.
func TestUnmarshalAccepts(t *testing.T) {
	for _, body := range []string{
		`{}`,
		" \t\r\n{ \t\r\n} \t\r\n",
		`{"count":0}`,
		`{"count":-0}`,
		`{"count":-2147483648}`,
		`{"count":2147483647}`,
		`{"target":{}}`,
		`{"target" : { "unit" : "m\/min" , "value" : 1.5e+3 } }`,
		`{"target":{"value":123456789012345678901234567890.123456789e-20}}`,
		`{"target":{"value":1e-400}}`,
		`{"target":{"value":4.9e-324}}`,
		`{"target":{"value":1.7976931348623157E308}}`,
		`{"target":{"value":9007199254740993}}`,
		`{"target":{"value":1.00000000000000011102230246251565404236316680908203125}}`,
		`{"drive":{"id":"","description":"\"\\\/\b\f\n\r\t\u0000\u00e9\u20ac\ud83d\ude00é€😀","transmission":[],"sensors":[{},{}]}}`,
		`{"dr\u0069ve":{}}`,
		`{"drive":{"register":{"integer":{"type":"TYPE_UNSPECIFIED"}}}}`,
		`{"drive":{"register":{"current":{}}}}`,
		`{"drive":{"register":{"span":[{"count":0},{"milliamps":0},{}]}}}`,
		`kitchen {"aDouble":0,"aInt32":0,"aUint32":0,"aBool":false,"aString":"","aBytes":"","aEnum":"MODE_UNSPECIFIED","aMessage":{}}`,
		`kitchen {"maybeDouble":0,"maybeInt32":0,"maybeUint32":0,"maybeBool":false,"maybeString":"","maybeBytes":"","maybeEnum":"MODE_UNSPECIFIED"}`,
		`kitchen {"manyDouble":[0,1.5],"manyInt32":[0,-1],"manyUint32":[0,4294967295],"manyBool":[false,true],"manyString":["","a"],"manyBytes":["","AP8="],"manyEnum":["SLOW","BACK"],"manyMessage":[{},{"value":2}]}`,
		`kitchen {"aString":"\ud83d\ude00"}`,
		`kitchen {"oneDouble":0}`, `kitchen {"oneInt32":0}`, `kitchen {"oneUint32":0}`, `kitchen {"oneBool":false}`,
		`kitchen {"oneString":""}`, `kitchen {"oneBytes":""}`, `kitchen {"oneEnum":"MODE_UNSPECIFIED"}`, `kitchen {"oneMessage":{}}`,
		`kitchen {"aUint32":-0,"aZ":-12.25,"aBytes":"+/+/","maybeInt32":-2147483648}`,
	} {
		t.Run(body, func(t *testing.T) {
			got, data := messageFor(body)
			require.NoError(t, codec.Unmarshal(data, got))
			want, _ := messageFor(body)
			require.NoError(t, protojson.Unmarshal(data, want))
			require.True(t, proto.Equal(want, got), "got %v, want %v", got, want)
		})
	}
}

// A zero has no sign after reading, where protojson keeps it.
func TestUnmarshalDropsTheSignOfZero(t *testing.T) {
	for _, zero := range []string{"-0", "-0.0", "-0e5", "-1e-400"} {
		m := dynamicpb.NewMessage(kitchen)
		require.NoError(t, codec.Unmarshal(fmt.Appendf(nil, `{"aDouble":%s,"manyDouble":[%s],"maybeDouble":%s}`, zero, zero, zero), m))
		for _, v := range []float64{
			fieldOf(m, "aDouble").Float(), fieldOf(m, "manyDouble").List().Get(0).Float(), fieldOf(m, "maybeDouble").Float(),
		} {
			require.Zero(t, math.Float64bits(v), zero)
		}
	}
}

// The former content of the message does not shine through.
func TestUnmarshalReplaces(t *testing.T) {
	m := &linepacev1.SetpointRequest{IncludeWorking: true, Drive: &linepacev1.Drive{Id: "kiln"}}
	require.NoError(t, codec.Unmarshal([]byte(`{"drive":{"description":"rollers"}}`), m))
	require.True(t, proto.Equal(&linepacev1.SetpointRequest{Drive: &linepacev1.Drive{Description: "rollers"}}, m), "%v", m)
}

// A long list of violations ends with their number, and an error of syntax is
// never left out.
func TestUnmarshalListsNoMoreThanAHundredViolations(t *testing.T) {
	body := `{"manyDouble":[` + strings.Repeat("null,", 5000) + `1]`
	for ending, extra := range map[string]string{"}": "", "]": "MALFORMED"} {
		var violations codec.Errors
		require.ErrorAs(t, codec.Unmarshal([]byte(body+ending), dynamicpb.NewMessage(kitchen)), &violations)
		require.LessOrEqual(t, len(violations), 100)
		require.Equal(t, "manyDouble[97]", violations[97].Path)
		require.Equal(t, "TOO_MANY", violations[len(violations)-1].Reason)
		require.Contains(t, violations[len(violations)-1].Text, "4902 more")
		if extra != "" {
			require.Equal(t, extra, violations[98].Reason)
		}
	}
}

func TestUnmarshalNeedsAMessage(t *testing.T) {
	for _, m := range []proto.Message{nil, (*linepacev1.PlanRequest)(nil)} {
		err := codec.Unmarshal([]byte(`{}`), m)
		require.Error(t, err)
		require.NotErrorAs(t, err, new(codec.Errors))
	}
}
