"""Tests of an atlas: built, gone on with, and asked."""
