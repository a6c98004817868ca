"""The day's plan as pure computation: who does what, when, with which machine.

``problem`` data that refuses nonsense, ``model`` the search, ``solution`` the answer and its score,
``check`` the judge that shares nothing with the search, ``explain`` why a job was left out,
``diff`` who must be told of a new plan, ``json_io`` the documented JSON form of both.
"""
