"""The invented demonstration scenario and the maker of its captures."""
