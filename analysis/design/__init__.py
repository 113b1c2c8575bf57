"""Design yield: what the climate promises this system, whatever the weather of the year.

`promise` is the door. Methods: EN 15316-4-3 by months (`en15316`), and beside it f-chart
(`f_chart`) and SAP 2012 Appendix H (`sap2012`). Their facts come from `climate` and `demand`.
"""
