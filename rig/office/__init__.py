"""A company's office: its shelf of whole job files, its books made from them, and what they answer.

Only a command of the office loads any of this; the libraries are those of `floor-rig[office]`.
"""
