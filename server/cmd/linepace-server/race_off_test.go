//go:build !race

package main

const differentialPlans = fullPlans
