//! The record of a spray: what went on, where, when, by whom, in what weather.
