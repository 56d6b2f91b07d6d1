"""Yarn: from a wanted finished count back to single, roving, draft and twist, and forward again.

One yarn has three lengths: at the front roll, on the bobbin after singles twist, finished after plying and
washing. Every count says which of them it means and how much water and oil it carries (`basis`).
"""
