//go:build race

package main

// differentialPlans is a tenth of what runs otherwise: the race detector looks for
// races, and makes exact arithmetic many times slower.
const differentialPlans = fullPlans / 10
