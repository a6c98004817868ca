"""The search in compiled loops: a plan as lines of jobs, one a person, machine, place and gear.

A plan is which jobs follow each other on which line; times follow from it, each job as early as all
its lines allow. For each job the search also keeps the latest start that all that follows allows,
so that a job is tried in a gap by looking at its neighbours alone.
"""
