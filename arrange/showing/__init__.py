"""What a notebook shows of a song, and of what is made of one: a page with picture and sound.

``hooks``
    tells the shell which types have a page; it loads nothing that is slow
``pages``
    the page of each type
"""
