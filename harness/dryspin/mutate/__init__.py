"""Mutation of a firmware's control code: which changes the claims do not notice."""

from dryspin.mutate.campaign import Campaign, Mutant, mutate
from dryspin.mutate.mutations import KINDS, Mutation

__all__ = ["KINDS", "Campaign", "Mutant", "Mutation", "mutate"]
