"""From a plant fitter's spoken memo to a job sheet, on the firm's own machine."""

__version__ = "0.1.0"
