// Package codec reads and writes protobuf messages as JSON: one strict language,
// fast, with the field's path in every refusal.
//
// # Messages
//
// The language is defined for a closed set of descriptors, which Check holds a
// contract to: proto3 messages of at most 64 fields that do not contain
// themselves, with fields of type double, int32, uint32, bool, string, bytes,
// enum and message; singular, optional, repeated or in a oneof; with lowerCamel
// JSON names. There are no maps, no other number types, no extensions and
// nothing of the package google.protobuf.
//
// # What is read
//
// A document is one JSON object (RFC 8259) in UTF-8 without byte order mark, with
// nothing but white space around it. Of the JSON mapping that protobuf publishes
// it takes one spelling for each value:
//
//   - a key is a field's lowerCamel name, given once; of a oneof one member is given;
//   - double: a JSON number within the range of an IEEE 754 double, rounded
//     correctly; -0 becomes 0;
//   - int32, uint32: a JSON number without point and exponent, within range;
//   - bool: true or false;
//   - string: a JSON string without lone surrogates;
//   - bytes: a JSON string in base64 (RFC 4648 section 4) with padding and
//     without line breaks;
//   - enum: a JSON string that is the name of one of its values;
//   - message: a JSON object; repeated: a JSON array;
//   - null is nowhere taken: a field without value is left out.
//
// Unmarshal finds all violations of a document in one pass; a wrong value is
// passed over and only an error of syntax ends the reading. What it accepts,
// protojson reads as the same message, save for the sign of -0.
//
// # What is written
//
// Append writes fields in the order of their declaration, without white space.
// Fields without presence are written with their default too (0, "", false, the
// enum's first name, []); messages, optional fields and members of a oneof are
// written only where they are present. AppendCanonical writes the form of RFC
// 8785 (JCS): keys sorted, and fields without presence left out when they have
// their default, so that a field added later leaves old documents as they were.
// Both write a number as ECMAScript does: the shortest decimal that reads back to
// it. Unknown fields are not written.
package codec
