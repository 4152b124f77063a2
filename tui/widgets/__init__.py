"""What is drawn on the screens: numerals, the section, the field book, bars."""
