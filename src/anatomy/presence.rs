//! Where along the arch there are teeth, and whether that agrees with the chart.
