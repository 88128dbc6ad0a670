"""What is written for publishing: pictures, a card, texts for a post, tables, sounds, one page for each unit."""

from humcheck.report.publish.publication import Publication, publication_of, refuse_place, write_publication

__all__ = ["Publication", "publication_of", "refuse_place", "write_publication"]
